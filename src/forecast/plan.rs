//! Use expected: the plan where there is one, each machine's last full season where there is none.

mod again;
mod bins;
mod short;
mod told;

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use super::season::{DaySpan, Season, month_of, months_later, moved_years};
use super::typical::Typical;
use crate::life::exposure::UseSums;
use crate::record::{Amounts, Machine, PlanRow, Records};
use crate::units::Measure;
use crate::wear::Groups;
use told::Told;

pub(crate) use told::list;

/// Where the use of the season comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanSource {
    /// The plan table.
    Plan,
    /// Each machine's last full season again.
    LastSeason,
}

/// Use expected of one machine, product and bin within one month, or what is left of it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedUse {
    /// First day of the month.
    pub month: NaiveDate,
    /// First day it can fall on.
    pub from: NaiveDate,
    /// Last day it can fall on.
    pub until: NaiveDate,
    /// Machine.
    pub machine: String,
    /// Product.
    pub product: String,
    /// Place of the product's group in [`Groups::names`].
    pub group: usize,
    /// Bin.
    pub bin: Option<String>,
    /// How much.
    pub amounts: Amounts,
}

/// Use expected after the as-of date.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Sorted by machine.
    pub uses: Vec<PlannedUse>,
    /// Where the forecast season's use comes from.
    pub source: PlanSource,
    /// Whether any use of that season is planned or repeated, be it that none of it is left.
    pub is_known: bool,
    /// Machines at work of whose use nothing is known.
    pub unknown: BTreeSet<String>,
    /// Machines of which the season under way, with what it has left, stands for the one forecast.
    pub begun: BTreeSet<String>,
    /// Sentences for the results.
    pub notes: Vec<String>,
}

impl Plan {
    /// Use expected of one machine: plans are sorted by machine, and fleets may be large.
    #[must_use]
    pub fn of_machine(&self, machine: &str) -> &[PlannedUse] {
        let from = self.uses.partition_point(|u| u.machine.as_str() < machine);
        let rest = &self.uses[from..];
        &rest[..rest.partition_point(|u| u.machine == machine)]
    }

    /// Use expected in a season of the machines for which `wanted` holds, unknown where any one's is.
    pub fn in_season(&self, season: Season, wanted: impl Fn(&str) -> bool) -> Amounts {
        if self.unknown.iter().any(|machine| wanted(machine)) {
            return Amounts::default();
        }
        let uses = self.uses.iter();
        total(uses.filter(|u| wanted(&u.machine) && season.holds(u.from)))
    }
}

/// What a plan is built from.
#[derive(Clone, Copy, Debug)]
pub struct Planning<'a> {
    /// The records.
    pub records: &'a Records,
    /// Product groups.
    pub groups: &'a Groups,
    /// Daily use.
    pub sums: &'a UseSums,
    /// The plan begins on the day after.
    pub as_of: NaiveDate,
    /// Machines that the notes and the source are about; empty: all of them.
    pub asked: &'a [String],
    /// Whether the plan is what happened: what names no bin then went through none that a part sits in.
    pub is_real: bool,
}

/// Builds the use expected from the day after the as-of date to the end of `season`.
#[must_use]
pub fn build(planning: Planning<'_>, season: Season) -> Plan {
    let mut rows: BTreeMap<&str, Vec<&PlanRow>> = BTreeMap::new();
    for row in &planning.records.plan {
        rows.entry(&row.machine).or_default().push(row);
    }
    let planner = Planner {
        rows,
        starts: planning.records.settings.season_start(),
        typical: OnceCell::new(),
        planning,
    };
    planner.build(season)
}

struct Planner<'a> {
    planning: Planning<'a>,
    starts: (u32, u32),
    /// For machines with neither plan nor use of their own.
    typical: OnceCell<Typical>,
    /// Rows of the plan by machine.
    rows: BTreeMap<&'a str, Vec<&'a PlanRow>>,
}

impl<'a> Planner<'a> {
    fn build(&self, season: Season) -> Plan {
        let is_asked = |machine: &String| {
            self.planning.asked.is_empty() || self.planning.asked.contains(machine)
        };
        let (mut asked, mut others) = (Told::default(), Told::default());
        let mut uses = Vec::new();
        let first = Season::of(self.planning.as_of + Days::new(1), self.starts);
        for machine in self
            .planning
            .records
            .machines
            .iter()
            .filter(|m| self.works(m))
        {
            let told = if is_asked(&machine.name) {
                &mut asked
            } else {
                &mut others
            };
            for year in first.year..=season.year {
                let this = Season::ending_in(year, self.starts);
                let rows = self.rows_of(machine, this, told);
                let of_target = year == season.year;
                if let Some(date) = machine.retired.filter(|date| *date <= this.end) {
                    told.retired.insert(format!("{} on {date}", machine.name));
                    told.beyond += rows.iter().filter(|row| date < row.month).count();
                    if date < this.start {
                        continue;
                    }
                }
                if rows.is_empty() {
                    uses.extend(self.last_season_again(machine, this, of_target, told));
                } else {
                    told.planned |= of_target;
                    if self.planning.as_of < this.start
                        && let Some(short) = self.short(machine, &rows)
                    {
                        told.short.insert(machine.name.clone(), short);
                    }
                    for row in rows {
                        if of_target {
                            self.tell_month(row, this, told);
                        }
                        uses.extend(self.planned_row(row, this, told));
                    }
                }
            }
        }
        for planned in &mut uses {
            let given = planned.amounts;
            let rates = self.planning.sums.rates();
            planned.amounts = rates.filled(&planned.machine, planned.group, given);
            if is_asked(&planned.machine) {
                self.tell_lacks(planned, given, &mut asked);
            }
        }
        uses.sort_by(|a, b| {
            (&a.machine, a.month, &a.product, &a.bin)
                .cmp(&(&b.machine, b.month, &b.product, &b.bin))
        });
        let source = if asked.planned {
            PlanSource::Plan
        } else {
            PlanSource::LastSeason
        };
        let told = [&asked, &others];
        // What is left of machines is known where they leave, and none is without a plan.
        let all_retire =
            told.iter().any(|t| !t.retired.is_empty()) && told.iter().all(|t| t.without.is_empty());
        Plan {
            is_known: all_retire || told.iter().any(|t| t.planned || t.repeats()),
            unknown: &asked.without | &others.without,
            begun: asked.begun.clone(),
            notes: asked.notes(source, self.planning.records.settings.plan_change),
            uses,
            source,
        }
    }

    /// Tells what a row of use left out: of it, what past rates fill in and what they do not.
    fn tell_lacks(&self, planned: &PlannedUse, given: Amounts, told: &mut Told) {
        told.filled += usize::from(planned.amounts != given);
        let month = planned.month.format("%Y-%m");
        let row = format!("{month} of {} on {}", planned.product, planned.machine);
        let groups = self.planning.groups;
        let logged = Measure::OF_USE.into_iter().filter(|m| groups.is_in_log(*m));
        let lacks: Vec<&str> = logged
            .filter(|m| planned.amounts.get(*m).is_none())
            .map(Measure::name)
            .collect();
        if given == Amounts::default() {
            told.empty.insert(row);
        } else if !lacks.is_empty() {
            told.untold.insert(format!("{row} ({})", lacks.join(", ")));
        }
    }

    /// In service, and not retired yet.
    fn works(&self, machine: &Machine) -> bool {
        machine.in_service <= self.planning.as_of
            && machine
                .retired
                .is_none_or(|date| self.planning.as_of < date)
    }

    /// Rows of the months that a season has days of; none where no month lies in it for the most part.
    fn rows_of(&self, machine: &Machine, season: Season, told: &mut Told) -> Vec<&'a PlanRow> {
        let days = |row: &PlanRow| season.of_month(row.month).map_or(0, DaySpan::days);
        let rows = self.rows.get(machine.name.as_str());
        let rows = rows.into_iter().flatten().copied();
        let rows: Vec<&PlanRow> = rows.filter(|row| 0 < days(row)).collect();
        let most = |row: &&PlanRow| DaySpan::month(row.month).days() <= 2 * days(row);
        if rows.iter().any(most) {
            return rows;
        }
        told.cut.extend(rows.iter().map(|row| row.month));
        Vec::new()
    }

    /// A row's amounts are those of its whole month, also of days that another season has. Where it
    /// names no bin and the parts of the machine sit in bins, past use says how much went through each.
    fn planned_row(&self, row: &PlanRow, season: Season, told: &mut Told) -> Vec<PlannedUse> {
        let Some(stretch) = season.of_month(row.month) else {
            return Vec::new();
        };
        let whole = DaySpan::month(row.month);
        let mut bins = vec![(row.bin.clone(), 1.0)];
        if row.bin.is_none() && !self.planning.is_real {
            let shares = self.bin_shares(row);
            if !shares.is_empty() {
                told.shared_out.insert(row.machine.clone());
                bins = shares;
            }
        }
        let uses = bins.iter().filter_map(|(bin, share)| {
            let key = (row.machine.as_str(), row.product.as_str(), bin.as_deref());
            self.placed(key, stretch, row.amounts, share / whole.days() as f64)
        });
        uses.collect()
    }

    /// Tells of a month of which the season has some days to come alone.
    fn tell_month(&self, row: &PlanRow, season: Season, told: &mut Told) {
        let Some(span) = season.of_month(row.month) else {
            return;
        };
        let first = span.from.max(self.planning.as_of + Days::new(1));
        let (left, of) = (
            (span.until - first).num_days() + 1,
            DaySpan::month(row.month).days(),
        );
        if 0 < left && left < of {
            told.months_in_part.insert(row.month, (left, of));
        }
    }

    /// The last day a machine is in the fleet, where that is known.
    fn retired(&self, machine: &str) -> Option<NaiveDate> {
        self.planning.records.machine(machine)?.retired
    }

    /// Cuts a stretch of a month down to the days after the as-of date, and up to the machine's
    /// retirement.
    ///
    /// - `a_day`: share of the amounts that falls on a day.
    fn placed(
        &self,
        (machine, product, bin): (&str, &str, Option<&str>),
        stretch: DaySpan,
        amounts: Amounts,
        a_day: f64,
    ) -> Option<PlannedUse> {
        let last = self.retired(machine).unwrap_or(stretch.until);
        let left = DaySpan {
            from: stretch.from.max(self.planning.as_of + Days::new(1)),
            until: stretch.until.min(last),
        };
        if left.until < left.from {
            return None;
        }
        let share = a_day * left.days() as f64;
        let group = self.planning.groups.group(product);
        let group = self
            .planning
            .groups
            .names()
            .binary_search_by(|n| n.as_str().cmp(group))
            .ok()?;
        let scale = |amount: Option<f64>| amount.map(|a| a * share);
        Some(PlannedUse {
            month: month_of(left.from),
            from: left.from,
            until: left.until,
            machine: machine.to_owned(),
            product: product.to_owned(),
            group,
            bin: bin.map(str::to_owned),
            amounts: Amounts {
                acres: scale(amounts.acres),
                tons: scale(amounts.tons),
                hours: scale(amounts.hours),
            },
        })
    }
}

/// The sum of two amounts, unknown where either is.
pub(super) fn both(a: Amounts, b: Amounts) -> Amounts {
    let add = |a: Option<f64>, b: Option<f64>| Some(a? + b?);
    Amounts {
        acres: add(a.acres, b.acres),
        tons: add(a.tons, b.tons),
        hours: add(a.hours, b.hours),
    }
}

/// Planned use summed over a list, unknown where any member is.
#[must_use]
pub fn total<'a>(uses: impl Iterator<Item = &'a PlannedUse>) -> Amounts {
    let zero = Amounts {
        acres: Some(0.0),
        tons: Some(0.0),
        hours: Some(0.0),
    };
    uses.fold(zero, |sum, u| both(sum, u.amounts))
}

/// Years from one season to a later one, as months to move a plan by.
#[must_use]
pub fn years_later(plan: &PlannedUse, years: i32) -> PlannedUse {
    PlannedUse {
        month: months_later(plan.month, 12 * years),
        from: moved_years(plan.from, years),
        until: moved_years(plan.until, years),
        ..plan.clone()
    }
}
