//! Survival without a distribution, and plotting positions.

use wearcast::model::nonparametric::{self, Survival};
use wearcast::model::observations::End;
use wearcast::model::{Observation, Observations, ranks};

use super::Check;
use super::fits::lives_of_rows;

fn life(entry: f64, low: f64, end: f64, known: End, count: f64) -> Observation {
    Observation {
        entry: vec![entry],
        low: vec![low],
        end: vec![end],
        known,
        count,
        machine: None,
    }
}

/// Exact and right-censored lives.
fn lives_of(entry: &[f64], t: &[f64], d: &[f64]) -> Vec<Observation> {
    let lives = entry.iter().zip(t).zip(d).map(|((v, t), d)| {
        let known = if 0.5 < *d { End::At } else { End::Censored };
        life(*v, *t, *t, known, 1.0)
    });
    lives.collect()
}

fn survival(lives: Vec<Observation>) -> Survival {
    let out = nonparametric::survival(&Observations::new(1, lives), &[1.0], 0.95);
    assert!(out.imbalance < 1e-8, "imbalance {}", out.imbalance);
    out
}

fn column(survival: &Survival, of: impl Fn(&nonparametric::Step) -> f64) -> Vec<f64> {
    survival.steps.iter().map(of).collect()
}

fn product_limit_holds(check: &Check, survival: &Survival) {
    assert!(survival.product_limit);
    check.holds_all("time", &column(survival, |s| s.high));
    check.holds_all("n_risk", &column(survival, |s| s.at_risk));
    check.holds_all("n_event", &column(survival, |s| s.worn));
    check.holds_all("surv", &column(survival, |s| s.survival));
    let low = column(survival, |s| s.survival_low.expect("a limit"));
    let high = column(survival, |s| s.survival_high.expect("a limit"));
    check.holds_all("lo95_loglog", &low);
    check.holds_all("hi95_loglog", &high);
}

#[test]
fn the_product_limit_is_that_of_the_reference_programs() {
    for id in ["nist-km", "genfan-km"] {
        let check = Check::named(id);
        let (t, d) = (check.numbers("t"), check.numbers("d"));
        let out = survival(lives_of(&vec![0.0; t.len()], &t, &d));
        product_limit_holds(&check, &out);
        assert!(out.start <= 0.0);
    }
}

#[test]
fn the_product_limit_with_late_entry_is_that_of_the_reference_programs() {
    let check = Check::named("channing-km");
    let lives = lives_of(
        &check.numbers("entry"),
        &check.numbers("t"),
        &check.numbers("d"),
    );
    product_limit_holds(&check, &survival(lives));
}

/// Two early wear-outs in risk sets of two and one would pull the product limit to 0.
#[test]
fn a_tiny_first_risk_set_does_not_pull_survival_to_nothing() {
    let check = Check::named("channing-km");
    let (mut entry, mut t, mut d) = (
        check.numbers("entry"),
        check.numbers("t"),
        check.numbers("d"),
    );
    entry.extend([751.0, 759.0]);
    t.extend([777.0, 781.0]);
    d.extend([1.0, 1.0]);
    let out = survival(lives_of(&entry, &t, &d));
    assert!(781.0 <= out.start && out.start < 869.0, "{}", out.start);
    assert!(2.0 <= out.left_out);
    product_limit_holds(&check, &out);
}

#[test]
fn overlapping_intervals_share_their_mass_as_turnbull_has_it() {
    let check = Check::named("retraction-rt-turnbull");
    let lives = lives_of_rows(check.input("rows"));
    let out = nonparametric::survival(&lives, &[1.0], 0.95);
    assert!(!out.product_limit);
    check.holds_all("left", &column(&out, |s| s.low));
    check.holds_all("right", &column(&out, |s| s.high));
    check.holds_all("mass", &column(&out, |s| s.mass));
    check.holds("loglik", out.log_likelihood);
}

#[test]
fn one_look_at_each_part_gives_pooled_shares() {
    let check = Check::named("turbine-npmle");
    let times = check.numbers("time");
    let (inspected, failed) = (check.numbers("inspected"), check.numbers("failed"));
    let lives = times.iter().zip(inspected).zip(failed);
    let lives = lives.flat_map(|((t, n), r)| {
        [
            life(0.0, 0.0, *t, End::Between, r),
            life(0.0, *t, *t, End::Censored, n - r),
        ]
    });
    let out = survival(lives.filter(|l| 0.0 < l.count).collect());
    let worn: Vec<f64> = times.iter().map(|t| 1.0 - out.at(*t)).collect();
    check.holds_all("F", &worn);
}

#[test]
fn median_ranks_are_those_of_the_tables() {
    for id in ["ranks-5", "ranks-10", "ranks-20"] {
        let check = Check::named(id);
        let n = check.number("n");
        let ranks: Vec<f64> = (1..=n as usize).map(|i| i as f64).collect();
        for (key, p) in [("median", 0.5), ("p05", 0.05), ("p95", 0.95)] {
            let shares = ranks
                .iter()
                .map(|i| ranks::share(*i, n, p).expect("a rank"));
            check.holds_all(key, &shares.collect::<Vec<_>>());
        }
    }
}

/// Benard's median rank: what handbooks draw their lines through.
///
/// Source: Benard & Bos-Levenbach (1953), Statistica Neerlandica 7:163.
fn benard(rank: f64, lives: f64) -> f64 {
    (rank - 0.3) / (lives + 0.4)
}

/// Slope and level of `y` on `x`.
fn regression(x: &[f64], y: &[f64]) -> (f64, f64) {
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let sxy: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    let sxx: f64 = x.iter().map(|x| (x - mx).powi(2)).sum();
    (sxy / sxx, my - sxy / sxx * mx)
}

#[test]
fn ranks_among_censored_lives_and_lines_through_them_are_those_of_the_handbooks() {
    for id in ["ranks-cycles", "ranks-rivet", "ranks-nist"] {
        let check = Check::named(id);
        let (t, d) = (check.numbers("t"), check.numbers("failed"));
        let n = t.len() as f64;
        let out = survival(lives_of(&vec![0.0; t.len()], &t, &d));
        let times = column(&out, |s| s.high);
        check.holds_all("time", &times);
        let adjusted = ranks::adjusted(&column(&out, |s| s.at_risk), n);
        check.holds_all("adjusted_rank", &adjusted);
        let benard: Vec<f64> = adjusted.iter().map(|i| benard(*i, n)).collect();
        check.holds_all("median_rank_benard", &benard);
        let median = adjusted.iter().map(|i| ranks::share(*i, n, 0.5));
        let median: Option<Vec<f64>> = median.collect();
        let median = median.expect("ranks");
        check.holds_all("median_rank_beta", &median);
        for (key, shares) in [("benard", benard), ("beta", median)] {
            let line = check.within(key);
            let x: Vec<f64> = times.iter().map(|t| t.ln()).collect();
            let y: Vec<f64> = shares.iter().map(|p| (-(-p).ln_1p()).ln()).collect();
            let (a, b) = regression(&y, &x);
            line.holds("shape_x_on_y", 1.0 / a);
            line.holds("scale_x_on_y", b.exp());
            let (a, b) = regression(&x, &y);
            line.holds("shape_y_on_x", a);
            line.holds("scale_y_on_x", (-b / a).exp());
        }
    }
}
