//! Invented fleets of known truth: records in memory, played day by day.

use chrono::{Datelike, Days, NaiveDate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1, StandardNormal};
use rayon::prelude::*;
use wearcast::family::{Families, Family};
use wearcast::record::{
    Amounts, Extra, Inspection, Installed, Machine, Part, PlanRow, Position, Product, Reason,
    Records, Replacement, Settings, UsageRow,
};

use crate::calibration::{Best, FAMILIES, PLAYS, asked, fleet};

/// One family of a fleet.
#[derive(Clone, Debug)]
pub(crate) struct TrueFamily {
    pub(crate) name: &'static str,
    pub(crate) shape: f64,
    pub(crate) scale: f64,
    /// By product group, in the order of [`GROUPS`]; the first is 1.
    pub(crate) factors: [f64; 3],
    pub(crate) price: f64,
    /// Positions a machine has of it.
    pub(crate) positions: usize,
}

/// A fleet.
#[derive(Clone, Debug)]
pub(crate) struct Fleet {
    pub(crate) machines: usize,
    /// Seasons on record.
    pub(crate) seasons: i32,
    /// Standard deviation of a machine's log life.
    pub(crate) spread: f64,
    pub(crate) families: Vec<TrueFamily>,
    pub(crate) seed: u64,
    /// Error of a gauge that reads every part at the end of every season, as a share of the way
    /// to its limit; `None`: nobody measures.
    pub(crate) gauge: Option<f64>,
}

/// Product groups, the reference first: mild and common, so that it is the most used.
pub(crate) const GROUPS: [&str; 3] = ["dry", "corrosive", "lime"];

/// Records up to the end of the last season, and what happened in the season after.
pub(crate) struct Played {
    pub(crate) records: Records,
    /// Worn out in the season after, by family.
    pub(crate) worn_next: Vec<f64>,
    /// How each machine stood on that day, and the work it then did.
    stood: Vec<Stood>,
    /// Last day on record.
    pub(crate) as_of: NaiveDate,
    /// Machine, day, group and how much.
    used: Vec<(usize, NaiveDate, usize, Amounts)>,
}

/// What only one who knows the truth can see of a machine.
struct Stood {
    effect: f64,
    /// Effective use of every part in service, by family.
    ages: Vec<Vec<f64>>,
    /// Group and tons of each day to come.
    ahead: Vec<(usize, f64)>,
}

/// The limit that gauges are held to.
const WEAR: &str = "[wear]\nmeasure = \"play\"\nunit = \"mm\"\nnew = 2.0\nlimit = 6.0\n";

const FIRST_YEAR: i32 = 2019;

impl Fleet {
    /// Model files' worth of families: measured in tons, each piece a life of its own, with the
    /// prior text given.
    pub(crate) fn families(&self, prior: &str) -> Families {
        let mut families = Families::default();
        for family in &self.families {
            let text = format!(
                "family = \"{}\"\nmeasure = \"tons\"\ncounted = \"each\"\n{prior}\n{WEAR}",
                family.name
            );
            families.insert(Family::from_toml(&text).expect("valid"));
        }
        families
    }

    /// Plays the seasons on record and one more.
    pub(crate) fn play(&self) -> Played {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let start = NaiveDate::from_ymd_opt(FIRST_YEAR - 1, 11, 1).expect("a date");
        let last = FIRST_YEAR + self.seasons - 1;
        let as_of = NaiveDate::from_ymd_opt(last, 10, 31).expect("a date");
        let mut played = Played {
            records: self.empty_records(start),
            worn_next: vec![0.0; self.families.len()],
            stood: Vec::new(),
            as_of,
            used: Vec::new(),
        };
        for m in 0..self.machines {
            self.play_machine(m, last, &mut played, &mut rng);
        }
        let names: Vec<String> = (0..self.machines).map(name).collect();
        let row = |(m, date, group, amounts): &(usize, NaiveDate, usize, Amounts)| UsageRow {
            date: *date,
            machine: &names[*m],
            product: GROUPS[*group],
            bin: None,
            amounts: *amounts,
        };
        played.records.usage = played.used.iter().map(row).collect();
        played.records.replacements.sort_by(|a, b| {
            (a.date, &a.machine, &a.position).cmp(&(b.date, &b.machine, &b.position))
        });
        played
    }

    fn empty_records(&self, start: NaiveDate) -> Records {
        let machine = |m: usize| Machine {
            row: 2,
            name: name(m),
            in_service: start,
            records_from: start,
            retired: None,
            site: None,
            customer: None,
            extra: Extra::new(),
        };
        let part = |f: &TrueFamily| Part {
            row: 2,
            number: f.name.to_owned(),
            family: f.name.to_owned(),
            description: None,
            material: None,
            price: Some(f.price),
            pack: 1,
            lead_days: None,
            lead_days_spread: None,
            labor_hours: None,
            replaces: None,
            kit: None,
            critical: None,
            min_order: None,
            extra: Extra::new(),
        };
        let mut positions = Vec::new();
        for m in 0..self.machines {
            for f in &self.families {
                for p in 0..f.positions {
                    positions.push(Position {
                        row: 2,
                        machine: name(m),
                        name: format!("{} {p:02}", f.name),
                        part: f.name.to_owned(),
                        quantity: 1.0,
                        bin: None,
                        installed: Installed::On(start),
                        is_dated: false,
                        before: Amounts::default(),
                        extra: Extra::new(),
                    });
                }
            }
        }
        positions.sort_by(|a, b| (&a.machine, &a.name).cmp(&(&b.machine, &b.name)));
        let mut parts: Vec<Part> = self.families.iter().map(part).collect();
        parts.sort_by(|a, b| a.number.cmp(&b.number));
        let mut products: Vec<Product> = GROUPS
            .iter()
            .map(|g| Product {
                row: 2,
                name: (*g).to_owned(),
                group: (*g).to_owned(),
                extra: Extra::new(),
            })
            .collect();
        products.sort_by(|a, b| a.name.cmp(&b.name));
        Records {
            machines: (0..self.machines).map(machine).collect(),
            positions,
            parts,
            products,
            settings: Settings {
                reference_group: Some(GROUPS[0].to_owned()),
                ..Settings::default()
            },
            ..Records::default()
        }
    }

    fn play_machine(&self, m: usize, last: i32, played: &mut Played, rng: &mut ChaCha8Rng) {
        let z: f64 = StandardNormal.sample(rng);
        let effect = (self.spread * z).exp();
        let size = rng.random_range(0.6..1.5);
        let lime = rng.random_range(0.05..0.35);
        // What is left of each position's part, in effective tons, and its whole life.
        let mut left: Vec<Vec<f64>> = self
            .families
            .iter()
            .map(|f| (0..f.positions).map(|_| f.life(effect, rng)).collect())
            .collect();
        let mut whole = left.clone();
        let mut plan = std::collections::BTreeMap::new();
        let mut stood = Stood {
            effect,
            ages: Vec::new(),
            ahead: Vec::new(),
        };
        for year in FIRST_YEAR..=last + 1 {
            if year == last + 1 {
                stood.ages = ages(&left, &whole);
            }
            for date in working_days(year) {
                let (group, tons) = day_of_work(size, lime, rng);
                if year == last + 1 {
                    stood.ahead.push((group, tons));
                }
                let amounts = Amounts {
                    acres: Some(if group == 2 { tons / 2.0 } else { tons / 0.15 }),
                    tons: Some(tons),
                    hours: Some(tons / 12.0),
                };
                if year <= last {
                    played.used.push((m, date, group, amounts));
                } else {
                    let month = date.with_day(1).expect("a first day");
                    *plan.entry((month, group)).or_insert(0.0) += tons;
                }
                for (f, family) in self.families.iter().enumerate() {
                    for (p, left) in left[f].iter_mut().enumerate() {
                        *left -= tons * family.factors[group];
                        if 0.0 < *left {
                            continue;
                        }
                        *left = family.life(effect, rng);
                        whole[f][p] = *left;
                        if year <= last {
                            played.records.replacements.push(worn(m, family, p, date));
                        } else {
                            played.worn_next[f] += 1.0;
                        }
                    }
                }
            }
            if year <= last {
                self.read(m, year, (left.as_slice(), whole.as_slice()), played, rng);
            }
        }
        played.stood.push(stood);
        for ((month, group), tons) in plan {
            played.records.plan.push(PlanRow {
                row: 2,
                month,
                machine: name(m),
                product: GROUPS[group].to_owned(),
                bin: None,
                amounts: Amounts {
                    tons: Some(tons),
                    ..Amounts::default()
                },
                extra: Extra::new(),
            });
        }
    }
}

impl Fleet {
    /// Worn out in the season after, play by play for each family, as one would foretell it who
    /// knew every life's distribution, every machine and every day of work to come.
    pub(crate) fn foretell(&self, played: &Played, plays: usize) -> Vec<Vec<f64>> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(1);
        let mut foretold = vec![vec![0.0; plays]; self.families.len()];
        for machine in &played.stood {
            let each = self.families.iter().zip(&machine.ages).zip(&mut foretold);
            for ((family, ages), counts) in each {
                let worth = |(group, tons): &(usize, f64)| tons * family.factors[*group];
                let days: Vec<f64> = machine.ahead.iter().map(worth).collect();
                for age in ages {
                    for count in counts.iter_mut() {
                        *count += family.worn_in(&days, *age, machine.effect, &mut rng);
                    }
                }
            }
        }
        foretold
    }

    /// Reads every part of a machine at the end of a season.
    fn read(
        &self,
        m: usize,
        year: i32,
        (left, whole): (&[Vec<f64>], &[Vec<f64>]),
        played: &mut Played,
        rng: &mut ChaCha8Rng,
    ) {
        let Some(error) = self.gauge else { return };
        for (f, family) in self.families.iter().enumerate() {
            for p in 0..family.positions {
                let z: f64 = StandardNormal.sample(rng);
                let share = 1.0 - left[f][p] / whole[f][p] + error * z;
                played.records.inspections.push(Inspection {
                    row: 2,
                    date: NaiveDate::from_ymd_opt(year, 10, 31).expect("a date"),
                    machine: name(m),
                    position: format!("{} {p:02}", family.name),
                    slot: None,
                    measure: "play".to_owned(),
                    value: 2.0 + 4.0 * share,
                    unit: Some("mm".to_owned()),
                    note: None,
                    extra: Extra::new(),
                });
            }
        }
    }
}

impl TrueFamily {
    fn life(&self, effect: f64, rng: &mut ChaCha8Rng) -> f64 {
        let e: f64 = Exp1.sample(rng);
        effect * self.scale * e.powf(1.0 / self.shape)
    }

    /// Parts worn out on these days at a place whose part has this age now.
    fn worn_in(&self, days: &[f64], age: f64, effect: f64, rng: &mut ChaCha8Rng) -> f64 {
        let mut left = self.life_beyond(age, effect, rng);
        let mut worn = 0.0;
        for day in days {
            left -= day;
            if left <= 0.0 {
                worn += 1.0;
                left = self.life(effect, rng);
            }
        }
        worn
    }

    /// What is left of a part of this age.
    fn life_beyond(&self, age: f64, effect: f64, rng: &mut ChaCha8Rng) -> f64 {
        let e: f64 = Exp1.sample(rng);
        let scale = effect * self.scale;
        let hazard = (age / scale).powf(self.shape) + e;
        scale * hazard.powf(1.0 / self.shape) - age
    }
}

/// Effective use of every part in service.
fn ages(left: &[Vec<f64>], whole: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let of = |(left, whole): (&Vec<f64>, &Vec<f64>)| {
        let each = left.iter().zip(whole);
        each.map(|(l, w)| w - l).collect()
    };
    left.iter().zip(whole).map(of).collect()
}

pub(crate) fn name(m: usize) -> String {
    format!("M{m:04}")
}

fn worn(m: usize, family: &TrueFamily, p: usize, date: NaiveDate) -> Replacement {
    Replacement {
        row: 2,
        date,
        date_from: None,
        machine: name(m),
        position: format!("{} {p:02}", family.name),
        part: None,
        quantity: None,
        slot: None,
        reason: Reason::Worn,
        last_good: None,
        down_hours: None,
        labor_hours: None,
        parts_cost: None,
        note: None,
        extra: Extra::new(),
    }
}

/// Twenty days each spring and autumn.
fn working_days(year: i32) -> Vec<NaiveDate> {
    let from = |month: u32| NaiveDate::from_ymd_opt(year, month, 5).expect("a date");
    [from(3), from(9)]
        .into_iter()
        .flat_map(|start| (0..20).map(move |k| start + Days::new(2 * k)))
        .inspect(|d| debug_assert_eq!(d.year(), year))
        .collect()
}

/// Group and tons of a day's work; lime days are heavy.
fn day_of_work(size: f64, lime: f64, rng: &mut ChaCha8Rng) -> (usize, f64) {
    let u: f64 = rng.random();
    let z: f64 = StandardNormal.sample(rng);
    let tons = size * 40.0 * (0.4 * z).exp();
    if u < lime {
        (2, 2.0 * tons)
    } else if u < lime + 0.2 {
        (1, tons)
    } else {
        (0, tons)
    }
}

/// The helper itself: what [`Fleet::foretell`] says is no bound for others unless it is true.
#[test]
#[expect(clippy::print_stdout, reason = "read by who runs it longer")]
fn one_who_knows_the_truth_is_right_on_average_and_as_often_as_promised() {
    let fleets = asked("WEARCAST_FLEETS").unwrap_or(600);
    let machines = asked("WEARCAST_MACHINES").unwrap_or(3);
    let each: Vec<(Best, f64)> = (0..fleets)
        .into_par_iter()
        .map(|i| {
            let fleet = fleet(machines as usize, 0.2, None, 500_000 + i);
            let played = fleet.play();
            let money = FAMILIES.iter().zip(&played.worn_next);
            let actual = money.map(|(f, n)| f.1 * n).sum();
            let foretold = fleet.foretell(&played, PLAYS);
            (Best::of(&foretold, &played.worn_next, actual), actual)
        })
        .collect();
    let n = each.len() as f64;
    let families = each.iter().map(|(b, _)| b.families_inside).sum::<f64>() / n;
    println!("knowing the truth, {machines} machines, {fleets} fleets: pieces {families:.3}");
    let inside = each.iter().filter(|(b, _)| b.money_inside).count() as f64 / n;
    // Sums of four prices come in steps, and both ends of the interval are counted in.
    println!("money {inside:.3}");
    let chance = 4.0 * (0.16 / n).sqrt();
    assert!((inside - 0.82).abs() < chance.max(0.06), "{inside}");
    let miss = |of: fn(f64) -> f64| {
        let misses = each.iter().map(|(b, actual)| of(b.expected - actual));
        misses.sum::<f64>() / n
    };
    let error = (miss(|m| m * m) / n).sqrt();
    assert!(miss(|m| m).abs() < 4.0 * error, "{} {error}", miss(|m| m));
}
