//! Kits: parts of one machine that are done together and share labor, so decided together.
//!
//! Done together, the longest job holds the others: before a season each part counts for its share, by
//! hours, of that job, now and in the years to come, and in season for all of its own. A kit saves what
//! its parts save. All of it is changed before the season, or none.

use std::collections::{BTreeMap, BTreeSet};

use super::advice::{Advised, Judged};
use super::{Outlook, Study};
use crate::decide::Advice;
use crate::forecast::unit::{Due, InService, Unit};

impl Study {
    /// Puts the parts of each kit under one decision; what they save adds up to the kit's.
    pub(super) fn decide_kits(service: &InService, judged: &mut [Option<Judged>]) {
        for units in kits(service).into_values().filter(|u| 1 < u.len()) {
            decide_kit(&units, judged);
        }
    }

    /// What share of its own labor a part of a kit takes where all of it is done, by machine and kit;
    /// none where nothing is known of some part, so that the others are decided alone.
    pub(super) fn kit_shares(&self, outlook: &Outlook) -> BTreeMap<(usize, String), f64> {
        let service = &outlook.in_service;
        let rate = self.records.settings.labor_rate;
        let is_known = |unit: &Unit| {
            let cost = &service.lines[unit.line].cost;
            cost.is_known(rate) && service.can_forecast(unit, &outlook.assessments)
        };
        let share = |units: &[usize]| {
            if !units.iter().all(|i| is_known(&service.units[*i])) {
                return None;
            }
            let mut jobs: BTreeMap<&str, f64> = BTreeMap::new();
            for unit in units.iter().map(|i| &service.units[*i]) {
                let hours = service.lines[unit.line].cost.labor_hours?;
                *jobs.entry(&unit.position).or_default() += hours;
            }
            let all: f64 = jobs.values().sum();
            let longest = jobs.into_values().fold(0.0, f64::max);
            (0.0 < all).then(|| longest / all)
        };
        let kits = kits(service).into_iter();
        kits.filter_map(|((machine, kit), units)| Some(((machine, kit.to_owned()), share(&units)?)))
            .collect()
    }
}

fn decide_kit(units: &[usize], judged: &mut [Option<Judged>]) {
    let known: Option<Vec<&Judged>> = units.iter().map(|i| judged[*i].as_ref()).collect();
    // A part nothing is known of leaves the others to be decided alone.
    let Some(known) = known else { return };
    let draws = known.iter().map(|j| j.savings.len()).min().unwrap_or(0);
    let together: Vec<f64> = (0..draws)
        .map(|d| known.iter().map(|j| j.savings[d]).sum())
        .collect();
    let age_known = known.iter().all(|j| j.age_known);
    let decided: Vec<Judged> = known
        .iter()
        .map(|own| Judged {
            savings: together.clone(),
            saving: own.saving,
            age_known,
        })
        .collect();
    for (i, decided) in units.iter().zip(decided) {
        judged[*i] = Some(decided);
    }
}

/// A part past its measured limit is changed whatever it saves, and its kit is done with it.
pub(super) fn follow_the_limit(service: &InService, advised: &mut [Option<Advised>]) {
    for units in kits(service).into_values() {
        if !units.iter().any(|i| service.units[*i].past_limit) {
            continue;
        }
        for i in units {
            advised[i] = Some(Advised {
                advice: Advice::ReplaceNow,
                saving: advised[i].and_then(|a| a.saving),
            });
        }
    }
}

impl Study {
    /// Families that are not asked for and have a part in a kit with one that is.
    pub(super) fn mate_families(&self) -> BTreeSet<&str> {
        let parts = self.records.parts.iter();
        let of_kits = parts.filter_map(|p| Some((p.kit.as_deref()?, p.family.as_str())));
        let asked = |family: &str| self.wants_family(family);
        let kits: BTreeSet<&str> = of_kits
            .clone()
            .filter(|(_, family)| asked(family))
            .map(|(kit, _)| kit)
            .collect();
        of_kits
            .filter(|(kit, family)| kits.contains(kit) && !asked(family))
            .map(|(_, family)| family)
            .collect()
    }
}

/// What is not asked for, but is done together with some that is: decided with it, and sharing its
/// labor.
#[derive(Clone, Debug, Default)]
pub struct KitMates {
    pub(super) units: Vec<Unit>,
    pub(super) due: Vec<Due>,
}

/// Lets work share its labor, with what is done for mates beside it.
pub(super) fn share_labor(service: &mut InService, mates: &[Due]) {
    let asked = service.due.len();
    service.due.extend_from_slice(mates);
    service.share_labor();
    service.due.truncate(asked);
}

/// Leaves the parts in service and the scheduled work for whose machine and line `asked` holds; the others of
/// their kits.
pub(super) fn keep_asked(
    service: &mut InService,
    asked: impl Fn(usize, usize) -> bool,
) -> KitMates {
    let kit = |machine: usize, line: usize| Some((machine, service.lines[line].kit.clone()?));
    let units = service.units.iter().map(|u| (u.machine, u.line));
    let due = service.due.iter().map(|d| (d.machine, d.line));
    let of_asked = units.chain(due).filter(|(m, l)| asked(*m, *l));
    let kits: BTreeSet<_> = of_asked.filter_map(|(m, l)| kit(m, l)).collect();
    let is_mate = |machine, line| {
        !asked(machine, line) && kit(machine, line).is_some_and(|k| kits.contains(&k))
    };
    let units = service.units.iter().filter(|u| is_mate(u.machine, u.line));
    let due = service.due.iter().filter(|d| is_mate(d.machine, d.line));
    let mates = KitMates {
        units: units.cloned().collect(),
        due: due.cloned().collect(),
    };
    service.units.retain(|u| asked(u.machine, u.line));
    service.due.retain(|d| asked(d.machine, d.line));
    mates
}

/// Parts in service by machine and kit.
fn kits(service: &InService) -> BTreeMap<(usize, &str), Vec<usize>> {
    let mut kits: BTreeMap<(usize, &str), Vec<usize>> = BTreeMap::new();
    for (i, unit) in service.units.iter().enumerate() {
        if let Some(kit) = &service.lines[unit.line].kit {
            kits.entry((unit.machine, kit)).or_default().push(i);
        }
    }
    kits
}
