//! Wear and cost side by side: products, machines, or the values of any column.

mod beside;
mod columns;
mod machines;
mod money;
mod products;
mod together;
mod values;

use std::collections::BTreeSet;

use columns::By;

use super::progress::Stage;
use super::{DRAWS, Study, StudyError};
use crate::family::Family;
use crate::forecast::plan;
use crate::life::Life;
use crate::model::assess::{FamilyLives, Wanted, measured};
use crate::model::family_lives::is_known;
use crate::model::multiple::holm;
use crate::record::{Account, Records, Table};
use crate::report::compare::{CompareFamily, CompareReport, Compared};
use crate::study::teller::Teller;

/// One family with what every comparison of it needs.
struct Case<'a> {
    study: &'a Study,
    family: &'a Family,
    /// The lives asked for.
    lives: Vec<&'a Life>,
    /// All of them in the family's measure.
    all: FamilyLives,
}

impl<'a> Case<'a> {
    fn new(study: &'a Study, family: &'a Family, notes: &mut Vec<String>) -> Self {
        let silent = study.silent_machines();
        let wanted = |l: &&Life| {
            l.family == family.name
                && study.wants_machine(&l.machine)
                && !silent.contains(&l.machine)
        };
        let lives: Vec<&Life> = study.built.lives.iter().filter(wanted).collect();
        let all = measured(family, &lives, &study.groups, &[], notes);
        Self {
            study,
            family,
            lives,
            all,
        }
    }

    fn wanted(&self) -> Wanted {
        let draws = if self.study.options.priors { DRAWS } else { 0 };
        self.study.wanted(draws, false)
    }

    fn teller<'b>(&self, assessment: &'b crate::model::assess::Assessment) -> Teller<'b> {
        Teller {
            assessment,
            priors: self.study.options.priors,
            level: self.study.options.level,
        }
    }
}

/// Groups the products of records by a column of theirs, where `by` is one; its name. A study of the
/// records then compares by `product`. Products without a value are a group of their own.
pub fn group_products_by(records: &mut Records, by: &str) -> Option<String> {
    let column = columns::of_products(records, by)?;
    records.settings.reference_group = None;
    for product in &mut records.products {
        let value = product.extra.get(&column).map(String::as_str);
        product.group = value.unwrap_or("not written down").to_owned();
    }
    Some(column)
}

impl Study {
    /// Says of a column that is there, but in a table of many rows a life, where it is.
    fn of_rows(&self, error: StudyError) -> StudyError {
        let StudyError::Column { name, known } = error else {
            return error;
        };
        let of = |account: &&Account| {
            let own = &account.own_columns;
            own.iter()
                .any(|column| columns::normal(column) == columns::normal(&name))
        };
        match self.accounts.iter().find(of) {
            Some(account) => StudyError::OfRows {
                name,
                table: account.table.name(),
                known,
            },
            None => StudyError::Column { name, known },
        }
    }

    /// Wear and cost side by side, by `product`, by `machine`, or by any column of machines,
    /// positions or parts; by a column of products: see [`group_products_by`].
    ///
    /// # Errors
    /// [`StudyError::Column`] for a column that the records do not know, [`StudyError::TooThin`]
    /// where there is no life to compare.
    pub fn compare(&self, by: &str) -> Result<CompareReport, StudyError> {
        let by = By::find(&self.records, by).map_err(|error| self.of_rows(error))?;
        let mut notes = self.built.notes.clone();
        notes.extend(self.silent_note());
        notes.extend(self.not_logged_note());
        let mut families: Vec<CompareFamily> = Vec::new();
        let mut all_parts = together::Together::default();
        let mut alone = BTreeSet::new();
        let mut asked = self.wearing_families();
        asked.retain(|family| self.wants_family(&family.name));
        let mut totals = products::Totals::new(self, &asked);
        let of = asked.len();
        for (i, family) in asked.into_iter().enumerate() {
            self.progress.tell(|| Stage::Fitting {
                number: i + 1,
                of,
                family: family.name.clone(),
            });
            let case = Case::new(self, &family, &mut notes);
            if case.lives.is_empty() {
                continue;
            }
            families.push(match &by {
                By::Products => {
                    let groups = self.groups.names();
                    let measure = case.all.measure;
                    let name = &family.name;
                    notes.extend(beside::note_of_products(name, &case.lives, measure, groups));
                    case.products(&mut totals, &mut notes)
                }
                By::Machines => {
                    notes.extend(beside::note_of_machines(&family.name, &case.lives));
                    let machine = |life: &Life| Some(life.machine.clone());
                    all_parts.add(&case, &machine);
                    if case.wanted().machine_effect {
                        case.machines(&mut notes)
                    } else {
                        case.values(&machine, false, &mut notes)
                    }
                }
                By::Column(column) => {
                    let of_parts = column.table == Table::Parts;
                    let value = |life: &Life| column.value(&self.records, life);
                    let measure = case.all.measure;
                    let mut known = case.lives.clone();
                    known.retain(|life| is_known(life, measure));
                    let together = beside::note(&self.records, &family.name, &known, column);
                    notes.extend(together);
                    alone.extend(beside::spread_under_one(&known, measure, &value));
                    all_parts.add(&case, &value);
                    case.values(&value, of_parts, &mut notes)
                }
            });
        }
        if families
            .iter()
            .flat_map(|f| &f.rows)
            .all(|r| r.lives <= 0.0)
        {
            return Err(StudyError::TooThin(
                "the records hold no life that can be compared: no part in service with known use"
                    .to_owned(),
            ));
        }
        let comparisons = correct(&mut families);
        notes.extend(by_notes(&by));
        if !matches!(by, By::Products) {
            notes.push("an acre is one of all the work on record, the same for every line: what the own work of each costs is another matter, and `--machine` asks for it".to_owned());
        }
        notes.extend(self.money_notes());
        let compared = match &by {
            By::Products => Compared::Products,
            By::Machines if self.options.priors && self.options.machine_effect => {
                Compared::Machines
            }
            _ => Compared::Values,
        };
        let (name, table) = match &by {
            By::Products => ("product group".to_owned(), None),
            By::Machines => ("machine".to_owned(), Some("machines")),
            By::Column(column) => (column.name.clone(), Some(column.table.name())),
        };
        let together = all_parts.told(self.options.level);
        notes.extend(together.as_ref().and_then(|_| under_one_note(&alone)));
        Ok(CompareReport {
            header: self.header(notes),
            units: self.records.settings.units,
            currency: self.records.settings.currency.clone(),
            by: name,
            table,
            compared,
            families,
            totals: totals.told(),
            together,
            comparisons,
        })
    }

    fn money_notes(&self) -> Vec<String> {
        let settings = &self.records.settings;
        let mut notes = vec![
            "costs are what the work on record would cost in the long run, every part changed when it is worn and not before, at next season's prices; damage and lost field time are not in it".to_owned(),
        ];
        let partial = self.built.partial.iter().filter(|change| {
            self.wants_machine(&change.machine) && self.wants_family(&change.family)
        });
        let partial = partial.count();
        if 0 < partial {
            notes.push(format!(
                "single pieces changed in parts counted as sets are not in it either: {partial} on record"
            ));
        }
        if settings.labor_rate.is_none() {
            notes.push("labor is not priced: `labor_rate` is not in settings.toml; costs are of parts alone".to_owned());
        }
        notes
    }
}

/// That the table of all parts together puts down to a product what may be a value's.
fn under_one_note(alone: &BTreeSet<(String, String)>) -> Option<String> {
    let told = alone.iter();
    let told = told.map(|(group, value)| format!("`{group}` with `{value}`"));
    let told: BTreeSet<String> = told.collect();
    (!told.is_empty()).then(|| {
        format!(
            "some products were spread under one value alone, and the table of all parts together puts what wears there down to the product; trust the families' own rows first: {}",
            plan::list(&told)
        )
    })
}

fn by_notes(by: &By) -> Vec<String> {
    let By::Column(column) = by else {
        return Vec::new();
    };
    let beside = format!(
        "only `{}` is looked at: where the parts or machines differ in more than that, say in make or site, the difference counts in here too",
        column.name
    );
    let others = column.also_in.iter();
    std::iter::once(beside)
        .chain(others.map(|table| {
            format!(
                "`{}` is also a column of {table}; for that one write `--by {table}.{}`",
                column.name,
                column.name,
                table = table.name()
            )
        }))
        .collect()
}

/// Corrects every p-value of the table; how many there are.
fn correct(families: &mut [CompareFamily]) -> usize {
    let mut rows: Vec<_> = families.iter_mut().flat_map(|f| &mut f.rows).collect();
    let plain: Vec<Option<f64>> = rows.iter().map(|r| r.p_value).collect();
    for (row, corrected) in rows.iter_mut().zip(holm(&plain)) {
        row.p_holm = corrected;
    }
    plain.iter().flatten().count()
}
