//! What is assumed of part families before any records, as a report.

use crate::family::{Families, Family, Spread};
use crate::report::models::{ModelLine, ModelsReport};
use crate::report::{Estimate, Header};

/// What a prior's `spread` means: the share of certainty between its ends.
const LEVEL: f64 = 0.9;

/// No family of that name has a model file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no model file is for the family `{wanted}`; there are: {}", known.join(", "))]
pub struct UnknownFamily {
    /// What was asked for.
    pub wanted: String,
    /// What there is.
    pub known: Vec<String>,
}

/// Every family, or the one named.
///
/// # Errors
/// [`UnknownFamily`] when the one named has no model file.
pub fn models(families: &Families, name: Option<&str>) -> Result<ModelsReport, UnknownFamily> {
    let built_in = Families::built_in();
    let asked = families
        .iter()
        .filter(|family| name.is_none_or(|name| family.name == name));
    let lines: Vec<ModelLine> = asked.map(|family| line(family, &built_in)).collect();
    if let (Some(name), true) = (name, lines.is_empty()) {
        return Err(UnknownFamily {
            wanted: name.to_owned(),
            known: families.iter().map(|f| f.name.clone()).collect(),
        });
    }
    Ok(ModelsReport {
        header: Header {
            as_of: None,
            // Nothing is drawn here.
            seed: 1,
            level: LEVEL,
            machines: Vec::new(),
            families: Vec::new(),
            notes: notes(name.is_some()),
            cautions: Vec::new(),
        },
        in_full: name.is_some(),
        families: lines,
    })
}

fn line(family: &Family, built_in: &Families) -> ModelLine {
    let prior = family.prior;
    let wear_factor = prior.wear_factor.map(|spread| Spread {
        median: 1.0,
        spread,
    });
    ModelLine {
        family: family.name.clone(),
        built_in: built_in.has(&family.name) && built_in.get(&family.name) == *family,
        description: family.description.trim().to_owned(),
        measure: family.measure,
        counted: family.counted,
        distribution: family.distribution,
        life50: prior.life50.map(range),
        shape: prior.shape.map(range),
        wear_factor: wear_factor.map(range),
        wear: family.wear.clone(),
        service: family.service,
        source: family.source.clone(),
        caution: family.caution.clone(),
    }
}

fn range(value: Spread) -> Estimate {
    Estimate {
        estimate: value.median,
        low: Some(value.median / value.spread),
        high: Some(value.median * value.spread),
    }
}

fn notes(in_full: bool) -> Vec<String> {
    let mut notes = vec![
        "these figures are what is assumed before any records; most are cautious guesses, and your own \
         records outweigh them"
            .to_owned(),
    ];
    if !in_full {
        notes.push(
            "a family of the parts list that is not here works too: each part has its own life, in the \
             measure the records choose, with a weak prior on the shape alone"
                .to_owned(),
        );
        notes.push(
            "`wearcast models NAME` explains one family and says where its figures come from"
                .to_owned(),
        );
    }
    notes
}
