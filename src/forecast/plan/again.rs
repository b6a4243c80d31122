//! Seasons that are repeated for want of a plan.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::{PlannedUse, Planner, Told, both};
use crate::forecast::season::{DaySpan, Season, month_of, months_later};
use crate::forecast::typical::Typical;
use crate::life::exposure::DaySum;
use crate::record::{Amounts, Machine};

/// What is known of a season that is repeated.
pub(super) enum Kind {
    Full,
    /// On record in part, as the first one is.
    Partial,
    /// The last with any use, and not the last season.
    Silent,
    /// So long ago that the machine stands still.
    Still,
}

/// Seasons without any use on record after which a machine is taken to stand still (our own choice).
pub(super) const SILENT: i32 = 2;

/// First day of a month, product and bin.
type OfMonth = (NaiveDate, String, Option<String>);

fn add(months: &mut BTreeMap<OfMonth, Amounts>, key: OfMonth, amounts: Amounts) {
    months
        .entry(key)
        .and_modify(|sum| *sum = both(*sum, amounts))
        .or_insert(amounts);
}

impl Planner<'_> {
    pub(super) fn last_season_again(
        &self,
        machine: &Machine,
        target: Season,
        tell: bool,
        told: &mut Told,
    ) -> Vec<PlannedUse> {
        let past = self.last_season(machine);
        // A machine in its first season has none to repeat.
        let past = past.filter(|(past, _)| past.year < target.year);
        if past.is_none() || !self.planning.sums.has(&machine.name) {
            let typical = self.typical.get_or_init(|| Typical::of(self.planning));
            let change = 1.0 + self.planning.records.settings.plan_change;
            let uses = self.typical_season(typical, machine, target, change);
            if tell && !uses.is_empty() {
                told.typical.insert(machine.name.clone());
            }
            if !uses.is_empty() {
                return uses;
            }
        }
        let Some((past, kind)) = past else {
            if tell {
                told.without.insert(machine.name.clone());
            }
            return Vec::new();
        };
        let rest = self.rest_of(machine, past, told);
        if tell {
            let list = match kind {
                _ if !rest.is_empty() => &mut told.begun,
                Kind::Full => told.repeated.entry(past.year).or_default(),
                Kind::Partial => &mut told.partial,
                Kind::Silent => told.silent.entry(past.year).or_default(),
                Kind::Still => &mut told.still,
            };
            list.insert(machine.name.clone());
        }
        if matches!(kind, Kind::Still) {
            return Vec::new();
        }
        let later = 12 * (target.year - past.year);
        // As with a machine new that year, a stretch that its meter does not tell hides nothing of what is
        // known of the others. A row that somebody wrote without amounts stays unknown.
        let is_unread = |d: &DaySum<'_>| d.after.is_some() && d.amounts == Amounts::default();
        let mut days = self.days_of(machine, past);
        // A stretch that begins in the season may be told of on a day after it alone.
        let mut sums = self.planning.sums.of_machine(&machine.name);
        let ends_later = sums.any(|d| {
            past.end < d.date && is_unread(&d) && d.after.is_some_and(|after| after < past.end)
        });
        if ends_later && tell {
            told.in_part.insert(machine.name.clone());
        }
        if days.iter().any(is_unread) && !days.iter().all(is_unread) {
            days.retain(|d| !is_unread(d));
            if tell {
                told.in_part.insert(machine.name.clone());
            }
        }
        let mut months = self.months_of(days);
        for planned in rest {
            add(
                &mut months,
                (planned.month, planned.product, planned.bin),
                planned.amounts,
            );
        }
        months
            .into_iter()
            .filter_map(|((month, product, bin), amounts)| {
                let stretch = target.of_month(months_later(month, later))?;
                self.again((&machine.name, &product, bin.as_deref()), stretch, amounts)
            })
            .collect()
    }

    /// What a season that is not over has left, by its plan or else as other machines work: what is on record
    /// of it would make a year of a few weeks. Nothing of a season that is over.
    fn rest_of(&self, machine: &Machine, season: Season, told: &mut Told) -> Vec<PlannedUse> {
        if season.end <= self.planning.as_of {
            return Vec::new();
        }
        let rows = self.rows_of(machine, season, told);
        if rows.is_empty() {
            let typical = self.typical.get_or_init(|| Typical::of(self.planning));
            return self.typical_season(typical, machine, season, 1.0);
        }
        let uses = rows.iter().map(|row| self.planned_row(row, season, told));
        uses.collect::<Vec<_>>().concat()
    }

    fn typical_season(
        &self,
        typical: &Typical,
        machine: &Machine,
        target: Season,
        times: f64,
    ) -> Vec<PlannedUse> {
        let records = self.planning.records;
        // What went through no bin goes through those of this machine in equal parts.
        let positions = records.positions_of(&machine.name).iter();
        let bins: BTreeSet<&str> = positions.filter_map(|p| p.bin.as_deref()).collect();
        let mut out = Vec::new();
        for ((months, product, bin), amounts) in typical.of_machine(records, &machine.name) {
            let Some(stretch) = target.of_month(months_later(month_of(target.start), *months))
            else {
                continue;
            };
            let mut bins: Vec<Option<&str>> = bins.iter().map(|bin| Some(*bin)).collect();
            if bin.is_some() || bins.is_empty() {
                bins = vec![bin.as_deref()];
            }
            let share = 1.0 / bins.len() as f64;
            for bin in bins {
                let key = (machine.name.as_str(), product.as_str(), bin);
                let factor = share * times;
                out.extend(self.placed(key, stretch, *amounts, factor / stretch.days() as f64));
            }
        }
        out
    }

    /// The last season that the records hold in full, and have any use in, or else the last with any
    /// use: a machine that is not written of has most likely worked, as one that stands still for good
    /// is retired.
    pub(super) fn last_season(&self, machine: &Machine) -> Option<(Season, Kind)> {
        let full = Season::last_full(self.planning.as_of, self.starts);
        let last = Season::of(self.planning.sums.last_day(&machine.name)?, self.starts);
        let until_then = if full.end < last.end {
            let days = self
                .planning
                .sums
                .of_machine(&machine.name)
                .map(|day| day.date);
            let before = days.take_while(|date| *date <= full.end).last();
            before.map(|date| Season::of(date, self.starts))
        } else {
            Some(last)
        };
        if full.start < machine.records_from.max(machine.in_service) {
            return Some((until_then.unwrap_or(last), Kind::Partial));
        }
        Some(match until_then {
            Some(season) if season.year == full.year => (season, Kind::Full),
            Some(season) if full.year - season.year <= SILENT => (season, Kind::Silent),
            Some(season) => (season, Kind::Still),
            None => (last, Kind::Partial),
        })
    }

    pub(super) fn days_of<'m>(&'m self, machine: &'m Machine, season: Season) -> Vec<DaySum<'m>> {
        let days = self.planning.sums.of_machine(&machine.name);
        days.filter(|day| season.holds(day.date)).collect()
    }

    /// Use of days by month, product and bin; days that leave a measure out are filled in.
    pub(super) fn months_of(&self, days: Vec<DaySum<'_>>) -> BTreeMap<OfMonth, Amounts> {
        let mut months = BTreeMap::new();
        for day in days {
            let product = self.planning.sums.products()[day.product].clone();
            let key = (month_of(day.date), product, day.bin.map(str::to_owned));
            add(&mut months, key, day.amounts);
        }
        months
    }

    /// Use that a season before had in the days it has of a month.
    fn again(
        &self,
        (machine, product, bin): (&str, &str, Option<&str>),
        stretch: DaySpan,
        amounts: Amounts,
    ) -> Option<PlannedUse> {
        let factor = 1.0 + self.planning.records.settings.plan_change;
        self.placed(
            (machine, product, bin),
            stretch,
            amounts,
            factor / stretch.days() as f64,
        )
    }
}
