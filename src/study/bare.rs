//! Fits and remaining lives from bare tables, where no records folder stands behind them.

mod rows;

use std::collections::{BTreeMap, BTreeSet};

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::{CAUTIONS, Options, StudyError, fits};
use crate::family::{Families, Family, MeasureChoice};
use crate::forecast::drawn_life::DrawnLife;
use crate::forecast::summary::Forecast;
use crate::forecast::unit::Age;
use crate::life::bare::{BareAge, BareLife};
use crate::model::assess::{self, Assessment, Counts, FamilyLives, Wanted, name_hash};
use crate::model::found::Found;
use crate::model::observations::{End, Observation, Observations};
use crate::report::Header;
use crate::report::fits::FitsReport;
use crate::report::remaining::{RemainingLine, RemainingReport, without_mean};
use crate::units::{Measure, Units};

/// Name of the family where a table has none.
const NAMELESS: &str = "lives";

/// A bare table of lives made ready for questions.
#[derive(Clone, Debug)]
pub struct BareStudy {
    assessments: Vec<Assessment>,
    /// Sentences for the results.
    pub notes: Vec<String>,
    options: Options,
    /// Families that are changed by schedule.
    scheduled: BTreeSet<String>,
}

impl BareStudy {
    /// Fits every family of the table.
    ///
    /// - `remaining`: whether remaining life is asked for. Fits without priors take nothing from draws,
    ///   so that none are made for them alone.
    ///
    /// # Errors
    /// [`StudyError::TooThin`] for a table without a usable life; [`StudyError::Filter`] for a
    /// family that is not in it; [`StudyError::Group`] for a reference that it does not know.
    pub fn new(
        lives: &[BareLife],
        families: &Families,
        options: Options,
        remaining: bool,
    ) -> Result<Self, StudyError> {
        let mut by_family: BTreeMap<&str, Vec<&BareLife>> = BTreeMap::new();
        for life in lives {
            by_family
                .entry(life.family.as_deref().unwrap_or(NAMELESS))
                .or_default()
                .push(life);
        }
        for name in &options.families {
            if !by_family.contains_key(name.as_str()) {
                return Err(StudyError::Filter {
                    what: "family",
                    name: name.clone(),
                    known: by_family.keys().copied().collect::<Vec<_>>().join(", "),
                });
            }
        }
        let scheduled = |name: &str| families.get(name).service.is_some();
        let mut notes: Vec<String> = Vec::new();
        let left_out: Vec<&str> = by_family.keys().copied().filter(|n| scheduled(n)).collect();
        if !left_out.is_empty() {
            notes.push(format!(
                "changed by schedule, so there is no life to fit: {}",
                left_out.join(", ")
            ));
        }
        by_family.retain(|name, _| !scheduled(name));
        let measured: Vec<Measured<'_>> = by_family
            .iter()
            .map(|(name, lives)| Measured::new(families.get(name), lives))
            .collect();
        let references = References::new(&measured, options.reference.as_deref())?;
        let wanted = Wanted {
            priors: options.priors,
            machine_effect: options.priors && options.machine_effect,
            found: false,
            draws: if options.priors || remaining {
                super::DRAWS
            } else {
                0
            },
            seed: options.seed,
        };
        let wants =
            |name: &str| options.families.is_empty() || options.families.iter().any(|f| f == name);
        let assessments: Vec<Assessment> = measured
            .iter()
            .filter(|m| wants(&m.family.name))
            .map(|m| assess_family(m, &references, wanted))
            .collect();
        if assessments.iter().all(|a| a.lives.counts.lives <= 0.0) {
            return Err(StudyError::TooThin(
                "the table holds no life with a known end, of parts that wear".to_owned(),
            ));
        }
        Ok(Self {
            assessments,
            notes,
            options,
            scheduled: families
                .iter()
                .filter(|family| family.service.is_some())
                .map(|family| family.name.clone())
                .collect(),
        })
    }

    fn header(&self) -> Header {
        Header {
            as_of: self.options.as_of,
            seed: self.options.seed,
            level: self.options.level,
            machines: Vec::new(),
            families: Vec::new(),
            notes: (self.notes.iter().cloned())
                .chain(self.assessments.iter().flat_map(|a| a.notes.clone()))
                .collect(),
            cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
        }
    }

    /// The fits.
    #[must_use]
    pub fn fits(&self) -> FitsReport {
        fits::report(
            &self.assessments,
            self.options.priors,
            Units::Us,
            self.header(),
        )
    }

    /// Remaining life of parts of known age, at the mix of products they have seen so far.
    ///
    /// # Errors
    /// [`StudyError::TooThin`] for a part whose family has no lives to learn from.
    pub fn remaining(&self, ages: &[BareAge]) -> Result<RemainingReport, StudyError> {
        let scheduled = |age: &&BareAge| {
            let family = age.family.as_ref();
            family.is_some_and(|family| self.scheduled.contains(family))
        };
        let (left_out, worn): (Vec<&BareAge>, Vec<&BareAge>) = ages.iter().partition(scheduled);
        let parts = worn.into_iter().map(|age| self.part_left(age));
        let parts = parts.collect::<Result<Vec<_>, _>>()?;
        let mut header = self.header();
        header.notes.extend(without_mean(&parts));
        if !left_out.is_empty() {
            header.notes.push(format!(
                "ages of what is changed by schedule, which have no life left to tell: {}",
                left_out.len()
            ));
        }
        header.notes.push(
            "no plan stands behind a bare table: remaining life is at the mix of products seen so far".to_owned(),
        );
        Ok(RemainingReport {
            header,
            season: None,
            currency: String::new(),
            units: Units::Us,
            parts,
            services: Vec::new(),
        })
    }

    fn part_left(&self, age: &BareAge) -> Result<RemainingLine, StudyError> {
        let family = age.family.as_deref().unwrap_or(NAMELESS);
        let only = Some(&self.assessments).filter(|a| a.len() == 1 && age.family.is_none());
        let assessment = self
            .assessments
            .iter()
            .find(|a| a.family.name == family)
            .or_else(|| only.map(|a| &a[0]));
        let draws = assessment.and_then(|a| a.draws.as_ref());
        let (Some(assessment), Some(draws)) = (assessment, draws) else {
            return Err(StudyError::TooThin(format!(
                "row {} of the ages: nothing is known of the life of `{family}`",
                age.row
            )));
        };
        let groups = &assessment.lives.groups;
        let strange = age
            .groups
            .iter()
            .find(|(g, used)| 0.0 < **used && !groups.contains(g));
        if let Some((group, _)) = strange {
            return Err(StudyError::TooThin(format!(
                "row {} of the ages: no life of `{family}` says what `{group}` does to it",
                age.row
            )));
        }
        let mut used: Vec<f64> = groups
            .iter()
            .map(|g| age.groups.get(g).copied().unwrap_or(0.0))
            .collect();
        if age.groups.is_empty() {
            used[0] = age.age;
        }
        let sum: f64 = used.iter().sum();
        let mix: Vec<f64> = used
            .iter()
            .enumerate()
            .map(|(g, u)| {
                if 0.0 < sum {
                    u / sum
                } else {
                    f64::from(u8::from(g == 0))
                }
            })
            .collect();
        let mut rng = stream(self.options.seed, &format!("age {}", age.row));
        let known = Age::Known(used);
        let left: Vec<f64> = (0..draws.len())
            .map(|draw| {
                let life = DrawnLife::new(draws, draw, None, &mut rng);
                life.draw_rest(&known, &mut rng) / life.effective(&mix)
            })
            .collect();
        Ok(RemainingLine {
            machine: String::new(),
            position: age
                .name
                .clone()
                .unwrap_or_else(|| format!("row {}", age.row)),
            slot: None,
            part: String::new(),
            kit: None,
            family: assessment.family.name.clone(),
            measure: assessment.measure_known.then_some(assessment.lives.measure),
            fitted: None,
            age: Some(age.age),
            remaining: Forecast::of(&left),
            chance_this_season: None,
            half_worn_date: None,
            use_is_known: false,
            advice: None,
            change_cost: None,
            stop_cost: None,
            saving: None,
            measured: None,
        })
    }
}

/// A stream of random numbers of its own for each name.
pub(super) fn stream(seed: u64, name: &str) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed ^ name_hash(name))
}

/// The lives of one family, and what they are counted in.
struct Measured<'a> {
    family: Family,
    lives: &'a [&'a BareLife],
    measure: Measure,
    /// Whether anything says so.
    known: bool,
    /// That its model file speaks of another.
    note: Option<String>,
}

impl<'a> Measured<'a> {
    fn new(mut family: Family, lives: &'a [&'a BareLife]) -> Self {
        let said = lives.iter().find_map(|l| l.measure);
        let mut note = None;
        let (measure, known) = match (family.measure, said) {
            (MeasureChoice::Fixed(measure), None) | (_, Some(measure)) => (measure, true),
            (MeasureChoice::Best, None) => (Measure::Tons, false),
        };
        if family.measure != MeasureChoice::Fixed(measure) && family.prior.life50.take().is_some() {
            note = Some(format!(
                "{}: its lives are told in {}, its model file speaks of another measure; what that says of the median life is left out",
                family.name,
                measure.name()
            ));
        }
        Self {
            family,
            lives,
            measure,
            known,
            note,
        }
    }

    /// The group that its rows say counts as 1.
    fn said(&self) -> Option<&str> {
        self.lives.iter().find_map(|l| l.reference.as_deref())
    }
}

/// The reference groups of a bare table.
struct References {
    wanted: Option<String>,
    /// The group with the most use, by [`Measure::index`]: tons and hours do not add up.
    most: [Option<String>; 4],
    /// Every group, sorted.
    names: BTreeSet<String>,
}

impl References {
    fn new(families: &[Measured<'_>], wanted: Option<&str>) -> Result<Self, StudyError> {
        let mut totals: [BTreeMap<&str, Vec<f64>>; 4] = Default::default();
        let mut names = BTreeSet::new();
        for family in families {
            names.extend(family.said().map(str::to_owned));
            for life in family.lives {
                for (group, used) in &life.groups {
                    names.insert(group.clone());
                    let total = totals[family.measure.index()].entry(group).or_default();
                    total.push(used.end * life.count as f64);
                }
            }
        }
        if let Some(name) = wanted.filter(|name| !names.is_empty() && !names.contains(*name)) {
            return Err(crate::wear::UnknownGroup {
                wanted: name.to_owned(),
                known: names.into_iter().collect(),
            }
            .into());
        }
        let sum = |values: &Vec<f64>| {
            let mut values = values.clone();
            values.sort_by(f64::total_cmp);
            values.iter().sum::<f64>()
        };
        let most = totals.map(|of_group| {
            of_group
                .iter()
                .max_by(|a, b| sum(a.1).total_cmp(&sum(b.1)).then(b.0.cmp(a.0)))
                .map(|(name, _)| (*name).to_owned())
        });
        Ok(Self {
            wanted: wanted.map(str::to_owned),
            most,
            names,
        })
    }

    /// The groups of a family, the reference first; one without a name where it has none.
    fn groups_of(&self, family: &Measured<'_>) -> Vec<String> {
        let seen = |name: &str| {
            let mut lives = family.lives.iter();
            lives.any(|l| l.groups.get(name).is_some_and(|u| 0.0 < u.end))
        };
        let has_groups =
            family.said().is_some() || family.lives.iter().any(|l| !l.groups.is_empty());
        let most = self.most[family.measure.index()].as_deref();
        let reference = (self.wanted.as_deref()).or(family.said()).or(most);
        let Some(reference) = reference.filter(|_| has_groups) else {
            return vec![String::new()];
        };
        let others = self.names.iter().filter(|n| *n != reference && seen(n));
        std::iter::once(reference.to_owned())
            .chain(others.cloned())
            .collect()
    }
}

fn assess_family(family: &Measured<'_>, references: &References, wanted: Wanted) -> Assessment {
    let groups = references.groups_of(family);
    let Measured {
        family,
        lives,
        measure,
        known,
        note,
    } = family;
    let mut without = 0.0;
    let mut counts = Counts::default();
    let mut rows = Vec::new();
    for life in *lives {
        let count = life.count as f64;
        if !life.start_known {
            counts.start_unknown += count;
            continue;
        }
        let Some(end) = life.life else {
            counts.use_unknown += count;
            continue;
        };
        if life.groups.is_empty() && 1 < groups.len() {
            without += count;
        }
        let row = rows::observation(life, end, &groups);
        let sum = |use_: &[f64]| use_.iter().sum::<f64>();
        if row.known != End::Censored && sum(&row.end) <= sum(&row.entry) {
            counts.no_use += count;
            continue;
        }
        counts.lives += count;
        counts.worn += if row.known == End::Censored {
            0.0
        } else {
            count
        };
        counts.late_entry += if 0.0 < life.entry { count } else { 0.0 };
        rows.push((row, life.machine.clone()));
    }
    let alike = rows::are_too_many_unnamed(&rows);
    let rows = rows::of_their_own(rows, alike);
    counts.censored = counts.lives - counts.worn;
    let machines: BTreeSet<&String> = rows.iter().filter_map(|(_, m)| m.as_ref()).collect();
    let machines: Vec<String> = machines.into_iter().cloned().collect();
    let rows = rows.into_iter().map(|(row, machine)| {
        let place = machine.and_then(|m| machines.binary_search(&m).ok());
        Observation {
            machine: place.and_then(|m| u32::try_from(m).ok()),
            ..row
        }
    });
    let wanted = Wanted {
        machine_effect: wanted.machine_effect && !machines.is_empty(),
        ..wanted
    };
    let lives = FamilyLives {
        measure: *measure,
        observations: Observations::new(groups.len(), rows.collect()),
        found: Found::default(),
        groups,
        n_machines: machines.len(),
        machines,
        counts,
    };
    // A bare table is in one measure: there is nothing to choose among.
    let family = Family {
        measure: MeasureChoice::Fixed(*measure),
        ..family.clone()
    };
    let mut assessment = assess::assess_lives(&family, lives, wanted, Vec::new());
    assessment.measure_known = *known;
    assessment.notes.extend(note.clone());
    if alike {
        assessment.notes.push(format!(
            "{}: too many lives name no machine, so machines are taken as alike",
            assessment.family.name
        ));
    }
    if 0.0 < without {
        assessment.notes.push(format!(
            "{}: lives that name no product count as of {}: {without}",
            assessment.family.name, assessment.lives.groups[0]
        ));
    }
    assessment
}
