//! How long a season takes to be played, and how that grows with the number of machines.
//!
//! `cargo bench --bench season` measures by the clock. `cargo bench --bench season -- --plain FOLDER PLAYS`
//! plays the fleet in FOLDER and prints nanoseconds of processor time of a position's season and the mean number of
//! changes; `season.py` beside this file writes that folder and runs general-purpose tools
//! on the same fleet. `-- --passes N` plays N batches of a thousand machines, for a count of instructions.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench reads its data and prints what it found"
)]

mod watch;

use std::path::Path;
use std::sync::Arc;

use chrono::{Days, NaiveDate};
use divan::{Bencher, black_box};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, LogNormal, StandardNormal};
use rayon::prelude::*;
use wearcast::cost::PartCost;
use wearcast::family::{Families, Family};
use wearcast::forecast::Season;
use wearcast::forecast::damage::EventRate;
use wearcast::forecast::path::FuturePath;
use wearcast::forecast::plan::{Plan, PlanSource};
use wearcast::forecast::plays::{Game, PLAYS_OF_BATCH, Plays};
use wearcast::forecast::unit::{Age, InService, Line, SeenPath, Unit};
use wearcast::model::Distribution;
use wearcast::model::assess::{Assessment, Wanted, assess};
use wearcast::model::posterior::Draws;
use wearcast::record::{Extra, Product, UsageLog};
use wearcast::units::Measure;
use wearcast::wear::Groups;

use watch::Watch;

const POSITIONS: usize = 12;
/// Days of work in the season.
const DAYS: usize = 60;
const DRAWS: usize = 2_000;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let at = |name: &str| arguments.iter().position(|a| a == name);
    if let Some(at) = at("--plain") {
        let plays = arguments[at + 2].parse().expect("a number of plays");
        plain(Path::new(&arguments[at + 1]), plays);
    } else if let Some(at) = at("--passes") {
        let batches = arguments[at + 1].parse().expect("a number of batches");
        let fleet = Fleet::drawn(1_000);
        let laid_out = LaidOut::new(&fleet);
        println!("{}", laid_out.changes(batches));
    } else {
        divan::main();
    }
}

/// Eight batches of plays of the season: about a thousand.
#[divan::bench(args = [10, 100, 1_000, 10_000], sample_count = 5)]
fn eight_batches(bencher: Bencher, machines: usize) {
    let fleet = Fleet::drawn(machines);
    let laid_out = LaidOut::new(&fleet);
    bencher.bench(|| black_box(&laid_out).changes(8));
}

/// Ages and use to come of a fleet, and what is known of its parts' lives.
struct Fleet {
    /// Machine after machine, position after position.
    age: Vec<f64>,
    season: Vec<f64>,
    ln_scale: Vec<f64>,
    ln_shape: Vec<f64>,
    /// Standard deviations of both logarithms.
    sd: [f64; 2],
}

impl Fleet {
    /// As the general-purpose tools draw theirs.
    fn drawn(machines: usize) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let scale: Vec<f64> = (0..POSITIONS)
            .map(|_| rng.random_range(1_500.0..8_000.0))
            .collect();
        let use_ = LogNormal::new(1_200_f64.ln(), 0.5).expect("a spread");
        Self {
            age: (0..machines)
                .flat_map(|_| scale.clone())
                .map(|s| s * 0.8 * rng.random::<f64>())
                .collect(),
            season: (0..machines).map(|_| use_.sample(&mut rng)).collect(),
            ln_scale: scale.iter().map(|s| s.ln()).collect(),
            ln_shape: (0..POSITIONS)
                .map(|_| rng.random_range(1.3_f64..3.0).ln())
                .collect(),
            sd: [0.08, 0.05],
        }
    }

    /// Columns of numbers, eight bytes each.
    fn read(folder: &Path) -> Self {
        let column = |name: &str| -> Vec<f64> {
            let bytes = std::fs::read(folder.join(name)).expect("a column of numbers");
            let words = bytes.as_chunks::<8>().0.iter();
            words.map(|w| f64::from_le_bytes(*w)).collect()
        };
        Self {
            age: column("age.f64"),
            season: column("season.f64"),
            ln_scale: column("log_scale.f64"),
            ln_shape: column("log_shape.f64"),
            sd: column("sd.f64").try_into().expect("two spreads"),
        }
    }

    fn draws(&self, position: usize) -> Draws {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        rng.set_stream(position as u64);
        let points = (0..DRAWS).flat_map(|_| {
            let mut moved = |middle: f64, sd: f64| {
                let z: f64 = StandardNormal.sample(&mut rng);
                middle + sd * z
            };
            let scale = moved(self.ln_scale[position], self.sd[0]);
            [moved(self.ln_shape[position], self.sd[1]), scale]
        });
        Draws::given(Distribution::Weibull, 2, points.collect())
    }
}

/// A fleet as the program lays it out.
struct LaidOut {
    in_service: InService,
    assessments: Vec<Assessment>,
    groups: Groups,
    plan: Plan,
    season: Season,
}

impl LaidOut {
    fn new(fleet: &Fleet) -> Self {
        let products = [Product {
            name: "potash".to_owned(),
            group: "dry fertilizer".to_owned(),
            row: 0,
            extra: Extra::default(),
        }];
        let groups = Groups::new(&products, &UsageLog::default(), None).expect("one group");
        let season = Season::ending_in(2027, (11, 1));
        let any = Families::built_in().get("conveyor-chain");
        let wanted = Wanted {
            priors: true,
            machine_effect: false,
            found: false,
            draws: 0,
            seed: 1,
        };
        let assessments: Vec<Assessment> = (0..POSITIONS)
            .map(|position| {
                let family = Family {
                    name: format!("family {position:02}"),
                    ..any.clone()
                };
                let mut assessment = assess(&family, &[], &groups, &[], wanted);
                assessment.draws = Some(fleet.draws(position));
                assessment
            })
            .collect();
        Self {
            in_service: in_service(fleet, &assessments, season),
            assessments,
            groups,
            plan: Plan {
                uses: Vec::new(),
                is_known: true,
                source: PlanSource::Plan,
                unknown: std::collections::BTreeSet::new(),
                begun: std::collections::BTreeSet::new(),
                notes: Vec::new(),
            },
            season,
        }
    }

    /// Changes in so many batches of plays.
    fn changes(&self, batches: usize) -> u64 {
        let plays = Plays::new(Game {
            in_service: &self.in_service,
            assessments: &self.assessments,
            plan: &self.plan,
            groups: &self.groups,
            season: self.season,
            as_of: self.season.start - Days::new(1),
            labor_rate: None,
            seed: 1,
        });
        let count = |batch: usize| {
            let mut changes = 0;
            plays.batch(batch, |_, _| changes += 1);
            changes
        };
        (0..batches).into_par_iter().map(count).sum()
    }
}

fn in_service(fleet: &Fleet, assessments: &[Assessment], season: Season) -> InService {
    let machines = fleet.season.len();
    let nothing: Vec<&wearcast::life::Life> = Vec::new();
    // One for all families that go by the same measure and groups, as the program has it.
    let to_come = |use_: &f64| Arc::new(days_of(*use_, season.start));
    let days: Vec<Arc<FuturePath>> = fleet.season.iter().map(to_come).collect();
    let path = |machine: usize, family: usize| SeenPath {
        machine,
        bin: None,
        family,
        path: Arc::clone(&days[machine]),
        rest_of: None,
    };
    let unit = |machine: usize, family: usize| Unit {
        machine,
        position: format!("position {family}"),
        slot: None,
        fitted: None,
        family,
        line: family,
        path: machine * POSITIONS + family,
        age: Age::Known(vec![fleet.age[machine * POSITIONS + family]]),
        pieces: 1.0,
        readings: None,
        past_limit: false,
    };
    let places = || (0..machines).flat_map(|m| (0..POSITIONS).map(move |p| (m, p)));
    InService {
        machines: (0..machines).map(|m| format!("machine {m:05}")).collect(),
        units: places().map(|(m, p)| unit(m, p)).collect(),
        lines: assessments
            .iter()
            .map(|a| Line {
                family: a.family.name.clone(),
                part: format!("part of {}", a.family.name),
                scheduled: false,
                cost: PartCost {
                    price: Some(100.0),
                    price_from_records: false,
                    labor_hours: Some(1.0),
                },
                down_hours: None,
                kit: None,
            })
            .collect(),
        paths: places().map(|(m, p)| path(m, p)).collect(),
        damage: vec![EventRate::new(0, &nothing, Measure::Hours); POSITIONS],
        singles: vec![None; POSITIONS],
        wear_paths: vec![None; POSITIONS],
        ..InService::default()
    }
}

/// A season's use in equal days.
fn days_of(use_: f64, first: NaiveDate) -> FuturePath {
    let share = |k: usize| (k + 1) as f64 / DAYS as f64;
    FuturePath {
        dates: (0..DAYS).map(|k| first + Days::new(k as u64)).collect(),
        counts: vec![true; DAYS],
        n_groups: 1,
        cumulative: (0..DAYS).map(|k| use_ * share(k)).collect(),
        clock: (0..DAYS).map(|k| 0.01 * share(k)).collect(),
        unknown_from: None,
        found: Vec::new(),
    }
}

fn plain(folder: &Path, plays: usize) {
    let fleet = Fleet::read(folder);
    let laid_out = LaidOut::new(&fleet);
    let batches = plays.div_ceil(PLAYS_OF_BATCH);
    let watch = Watch::start();
    let changes = laid_out.changes(batches);
    let seconds = watch.stop();
    let seasons = (batches * PLAYS_OF_BATCH * laid_out.in_service.units.len()) as f64;
    let a_play = changes as f64 / (batches * PLAYS_OF_BATCH) as f64;
    println!("nanoseconds,changes");
    println!("{:.3},{a_play:.1}", 1e9 * seconds / seasons);
}
