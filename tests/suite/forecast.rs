//! The season against exact answers: the renewal function and the renewal equation on days.

mod renewal;

use std::sync::Arc;

use chrono::{Days, NaiveDate};
use wearcast::forecast::Season;
use wearcast::forecast::damage::EventRate;
use wearcast::forecast::path::FuturePath;
use wearcast::forecast::plan::{Plan, PlanSource};
use wearcast::forecast::plays::{Game, Plays};
use wearcast::forecast::simulate;
use wearcast::forecast::unit::{Age, InService, Line, SeenPath, Unit};
use wearcast::model::anchor::Anchor;
use wearcast::model::assess::{Assessment, Counts, FamilyLives};
use wearcast::model::found::Found;
use wearcast::model::posterior::Draws;
use wearcast::model::{Distribution, Observations};
use wearcast::record::UsageLog;
use wearcast::units::Measure;
use wearcast::wear::Groups;

use crate::reference::Check;

fn weibull(shape: f64) -> impl Fn(f64) -> f64 + Copy {
    move |x: f64| -(-x.powf(shape)).exp_m1()
}

#[test]
fn the_renewal_function_is_that_of_the_series_and_the_tables() {
    for id in [
        "renewal-1.2",
        "renewal-1.5",
        "renewal-2",
        "renewal-2.5",
        "renewal-3",
        "renewal-4",
    ] {
        let check = Check::named(id);
        let f = weibull(check.number("shape"));
        let m: Vec<f64> = check
            .numbers("t")
            .iter()
            .map(|t| renewal::expected_at(f, f, *t, 3_000))
            .collect();
        check.holds_all("m", &m);
    }
    let check = Check::named("renewal-tijms");
    let (shape, mean) = (check.number("shape"), check.number("mean"));
    let k = Anchor::Mean.offset(Distribution::Weibull, shape.ln()).value;
    let scaled = move |x: f64| weibull(shape)(x / mean * k.exp());
    let times = check.numbers("t");
    let m = times
        .iter()
        .map(|t| renewal::expected_at(scaled, scaled, *t, 3_000));
    let m: Vec<f64> = m.collect();
    check.holds_all("m", &m);
    check.holds_all("m_printed", &m);
    let check = Check::named("renewal-exact");
    let exponential = |x: f64| -(-x).exp_m1();
    let gamma2 = |x: f64| 1.0 - (-2.0 * x).exp() * (1.0 + 2.0 * x);
    // Closed forms to 1e-12; the grid is held to 1e-7.
    for (i, t) in check.numbers("t").iter().enumerate() {
        let m = renewal::expected_at(exponential, exponential, *t, 1_000);
        assert!((m - *t).abs() < 1e-7);
        let exact = [0.283_833_821, 0.754_578_91, 2.750_001_54][i];
        assert!((renewal::expected_at(gamma2, gamma2, *t, 1_000) - exact).abs() < 1e-7);
    }
}

#[test]
fn a_part_with_use_behind_it_renews_as_the_reference_says() {
    for id in ["renewal-aged-1.5", "renewal-aged-2.5"] {
        let check = Check::named(id);
        let shape = check.number("shape");
        let f = weibull(shape);
        let m: Vec<f64> = check
            .input("cases")
            .as_array()
            .expect("cases")
            .iter()
            .map(|case| {
                let (age, t) = (case[0].as_f64().expect("age"), case[1].as_f64().expect("t"));
                let first = move |x: f64| -(age.powf(shape) - (age + x).powf(shape)).exp_m1();
                renewal::expected_at(first, f, t, 3_000)
            })
            .collect();
        check.holds_all("m", &m);
    }
}

/// One family of known life on one machine whose days of use are all of one size.
struct Bench {
    shape: f64,
    scale: f64,
    day: f64,
    days: usize,
    ages: Vec<f64>,
    /// Strikes on record beside the prior's, and hours to come; no hours, no strikes.
    strikes: usize,
    hours: f64,
}

impl Bench {
    /// Mean replacements by wear a play, and their standard error.
    fn played(&self) -> (f64, f64) {
        self.with_game(&["M"], |game| mean(&simulate::play(game).lines[0].worn))
    }

    /// The season of some machines that are all alike.
    fn with_game<T>(&self, machines: &[&str], then: impl FnOnce(Game<'_>) -> T) -> T {
        let start = NaiveDate::from_ymd_opt(2026, 11, 1).expect("a date");
        let season = Season::ending_in(2050, (11, 1));
        let season = Season { start, ..season };
        let path = Arc::new(FuturePath {
            dates: (0..self.days as u64)
                .map(|k| start + Days::new(k))
                .collect(),
            counts: vec![true; self.days],
            n_groups: 1,
            cumulative: (1..=self.days).map(|k| self.day * k as f64).collect(),
            clock: (1..=self.days)
                .map(|k| self.hours * k as f64 / self.days as f64)
                .collect(),
            unknown_from: None,
            found: Vec::new(),
        });
        let unit = |machine: usize, age: &f64| Unit {
            machine,
            position: "p".to_owned(),
            slot: None,
            fitted: None,
            family: 0,
            line: 0,
            path: machine,
            age: Age::Known(vec![*age]),
            pieces: 1.0,
            readings: None,
            past_limit: false,
        };
        let in_service = InService {
            machines: machines.iter().map(|m| (*m).to_owned()).collect(),
            units: (0..machines.len())
                .flat_map(|m| self.ages.iter().map(move |age| unit(m, age)))
                .collect(),
            lines: vec![Line {
                family: "f".to_owned(),
                part: "P".to_owned(),
                scheduled: false,
                cost: wearcast::cost::PartCost::default(),
                down_hours: None,
                kit: None,
            }],
            paths: (0..machines.len())
                .map(|machine| SeenPath {
                    machine,
                    bin: None,
                    family: 0,
                    path: path.clone(),
                    rest_of: None,
                })
                .collect(),
            damage: vec![EventRate::new(self.strikes, &[], Measure::Hours)],
            wear_paths: vec![None],
            singles: vec![None],
            ..InService::default()
        };
        let draws = Draws::known(
            Distribution::Weibull,
            vec![self.shape.ln(), self.scale.ln()],
        );
        let assessment = Assessment {
            family: wearcast::family::Family::without_file("f"),
            lives: FamilyLives {
                measure: Measure::Tons,
                groups: vec!["g".to_owned()],
                machines: Vec::new(),
                found: Found::default(),
                n_machines: 0,
                observations: Observations::default(),
                counts: Counts::default(),
            },
            measure_known: true,
            distribution: Distribution::Weibull,
            likeliest: Err(wearcast::model::fit::FitError::NoLives),
            draws: Some(draws),
            log_likelihood_at_mode: None,
            notes: Vec::new(),
        };
        let plan = Plan {
            uses: Vec::new(),
            is_known: true,
            source: PlanSource::Plan,
            unknown: std::collections::BTreeSet::new(),
            begun: std::collections::BTreeSet::new(),
            notes: Vec::new(),
        };
        let groups = Groups::new(&[], &UsageLog::default(), None).expect("no reference asked for");
        then(Game {
            in_service: &in_service,
            assessments: &[assessment],
            plan: &plan,
            groups: &groups,
            season,
            as_of: start - Days::new(1),
            labor_rate: None,
            seed: 7,
        })
    }

    fn hazard(&self, x: f64) -> f64 {
        (x / self.scale).powf(self.shape)
    }

    /// The renewal equation on the days, exactly: a part wears out on a day and is changed at its end.
    fn exact(&self) -> f64 {
        let new: Vec<f64> = (1..=self.days)
            .map(|k| {
                let survival = |k: usize| (-self.hazard(self.day * k as f64)).exp();
                survival(k - 1) - survival(k)
            })
            .collect();
        let of_age = |age: &f64| {
            let survival =
                |k: usize| (self.hazard(*age) - self.hazard(age + self.day * k as f64)).exp();
            let mut change: Vec<f64> = Vec::new();
            for k in 1..=self.days {
                let mut p = survival(k - 1) - survival(k);
                for j in 1..k {
                    p += change[j - 1] * new[k - j - 1];
                }
                change.push(p);
            }
            change.iter().sum::<f64>()
        };
        self.ages.iter().map(of_age).sum()
    }
}

/// Mean and its standard error.
fn mean(counts: &[f64]) -> (f64, f64) {
    let n = counts.len() as f64;
    let mean = counts.iter().sum::<f64>() / n;
    let variance = counts.iter().map(|w| (w - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, (variance / n).sqrt())
}

#[test]
fn the_played_season_has_the_expectation_of_the_renewal_equation_on_days() {
    for (shape, day, ages) in [
        (1.0, 60.0, vec![0.0]),
        (2.5, 60.0, vec![0.0, 300.0, 900.0]),
        (4.0, 150.0, vec![100.0, 800.0]),
    ] {
        let bench = Bench {
            shape,
            scale: 1_000.0,
            day,
            days: 40,
            ages,
            strikes: 0,
            hours: 0.0,
        };
        let (mean, error) = bench.played();
        let exact = bench.exact();
        assert!(
            (mean - exact).abs() < 4.0 * error && error < 0.005 * mean,
            "shape {shape}: {mean} +- {error}, exactly {exact}"
        );
    }
}

#[test]
fn with_very_short_days_the_played_season_is_that_of_the_renewal_function() {
    let bench = Bench {
        shape: 2.5,
        scale: 1.0,
        day: 0.001,
        days: 1_500,
        ages: vec![0.9],
        strikes: 0,
        hours: 0.0,
    };
    let (mean, error) = bench.played();
    let check = Check::named("renewal-aged-2.5");
    let case = check.input("cases")[3].clone();
    assert_eq!((case[0].as_f64(), case[1].as_f64()), (Some(0.9), Some(1.5)));
    let published = check.expected_numbers("m")[3];
    // A day of a thousandth of the life overshoots by half of it, 0.0005 a change.
    assert!(
        (mean - published).abs() < 4.0 * error + 0.002,
        "{mean} +- {error}, {published}"
    );
}

/// Where wear has no memory, strikes and wear are two Poisson processes: use over scale, and rate by
/// hours. The rate is gamma about (0.1 + 2) / 1,000 an hour: see `forecast::damage`.
#[test]
fn strikes_and_wear_do_not_hide_each_other() {
    let bench = Bench {
        shape: 1.0,
        scale: 1.0,
        day: 0.001,
        days: 800,
        ages: vec![0.0, 0.4],
        strikes: 2,
        hours: 300.0,
    };
    bench.with_game(&["M"], |game| {
        let outcome = simulate::play(game);
        // Both on one day are one change: less than a thousandth of them.
        for (counts, exact) in [
            (&outcome.lines[0].worn, 2.0 * 0.8),
            (&outcome.lines[0].damage, 2.0 * 2.1 / 1_000.0 * 300.0),
        ] {
            let (mean, error) = mean(counts);
            assert!(
                (mean - exact).abs() < 4.0 * error + 0.001 * exact && error < 0.01 * exact,
                "{mean} +- {error}, exactly {exact}"
            );
        }
    });
}

#[test]
fn what_happens_to_a_machine_does_not_depend_on_the_others() {
    let bench = Bench {
        shape: 2.5,
        scale: 1_000.0,
        day: 60.0,
        days: 40,
        ages: vec![0.0, 700.0],
        strikes: 2,
        hours: 300.0,
    };
    let of_n = |machines: &[&str]| {
        bench.with_game(machines, |game| {
            let mut events = Vec::new();
            Plays::new(game).batch(3, |play, event| {
                if game.in_service.machines[event.machine] == "N" {
                    events.push((play, event.date, event.cause));
                }
            });
            events
        })
    };
    let alone = of_n(&["N"]);
    assert!(100 < alone.len());
    assert_eq!(alone, of_n(&["M", "N", "O"]));
}
