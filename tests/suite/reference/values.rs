//! Single values: moments, known shapes, bearing slopes.

use wearcast::family::Families;
use wearcast::model::anchor::Anchor;
use wearcast::model::fit;
use wearcast::model::likelihood::{Derivatives, Likelihood};
use wearcast::model::observations::End;
use wearcast::model::{Distribution, Observation, Observations};
use wearcast::study::money::repair_share;

use super::Check;

#[test]
fn the_mean_life_is_that_of_the_handbook() {
    let check = Check::named("nist-moments");
    let k = Anchor::Mean.offset(Distribution::Weibull, check.number("shape").ln());
    check.holds("mean", check.number("scale") * k.value.exp());
}

#[test]
fn the_ratio_of_median_to_ten_percent_life_is_that_of_bearing_practice() {
    let check = Check::named("bearing-slope");
    let ratios: Vec<f64> = check
        .numbers("slope")
        .iter()
        .map(|slope| {
            let k = |p| {
                Anchor::Quantile(p)
                    .offset(Distribution::Weibull, slope.ln())
                    .value
            };
            (k(0.5) - k(0.1)).exp()
        })
        .collect();
    check.holds_all("ratio", &ratios);
}

/// ISO 281 reliability factor: life at reliability R over life at 0.9, slope 1.5.
#[test]
fn the_reliability_factor_is_that_of_iso_281() {
    let check = Check::named("iso281-a1-1990");
    let slope = check.number("slope").ln();
    let factors: Vec<f64> = check
        .numbers("R")
        .iter()
        .map(|r| {
            let k = |p| {
                Anchor::Quantile(p)
                    .offset(Distribution::Weibull, slope)
                    .value
            };
            (k(1.0 - r) - k(0.1)).exp()
        })
        .collect();
    check.holds_all("a1", &factors);
    check.holds_all("a1_printed", &factors);
}

/// Weibayes without a failure; the 63.2 % bound is the old rule of assuming one failure.
#[test]
fn the_lower_bound_without_wear_outs_is_that_of_the_reference() {
    for id in ["weibayes-zero", "weibayes-zero63"] {
        let check = Check::named(id);
        let lives = check.numbers("t").into_iter().map(|t| Observation {
            entry: vec![0.0],
            low: vec![t],
            end: vec![t],
            known: End::Censored,
            count: 1.0,
            machine: None,
        });
        let lives = Observations::new(1, lives.collect());
        let bound = fit::scale_lower_bound(&lives, check.number("shape"), check.number("conf"));
        check.holds("scale_lower", bound.expect("there is use"));
    }
}

/// Conditional Weibull life: chance to wear out within a further use, and quantiles of what is left.
#[test]
fn what_is_left_of_a_used_part_is_that_of_the_reference() {
    let check = Check::named("remaining-life");
    let (shape, scale, x) = (
        check.number("shape"),
        check.number("scale"),
        check.number("x"),
    );
    let weibull = Distribution::Weibull;
    let hazard = |age: f64| {
        if age <= 0.0 {
            return 0.0;
        }
        weibull.cumulative(shape * (age.ln() - scale.ln())).value
    };
    let ages = check.numbers("age");
    let chance: Vec<f64> = ages
        .iter()
        .map(|age| -(hazard(*age) - hazard(age + x)).exp_m1())
        .collect();
    check.holds_all("p_fail", &chance);
    let left = |age: f64, p: f64| {
        let h = hazard(age) - (-p).ln_1p();
        (scale.ln() + weibull.inverse(h) / shape).exp() - age
    };
    for (i, age) in ages.iter().enumerate() {
        let quantiles: Vec<f64> = check.numbers("p").iter().map(|p| left(*age, *p)).collect();
        check.holds_row("quantile", i, &quantiles);
    }
}

/// Weibayes with wear-outs: at a known shape the slope of the likelihood in log scale is
/// `shape * (sum (t / scale)^shape - r)`, which gives the scale where it is 0.
#[test]
fn the_scale_at_a_known_shape_is_that_of_the_reference() {
    for id in ["weibayes-one", "weibayes-genfan"] {
        let check = Check::named(id);
        let failed = check.numbers("failed");
        let lives = check.numbers("t").into_iter().zip(&failed);
        let lives = lives.map(|(t, failed)| Observation {
            entry: vec![0.0],
            low: vec![t],
            end: vec![t],
            known: if 0.5 < *failed {
                End::At
            } else {
                End::Censored
            },
            count: 1.0,
            machine: None,
        });
        let lives = Observations::new(1, lives.collect());
        let (shape, worn): (f64, f64) = (check.number("shape"), failed.iter().sum());
        let from = 1_000.0_f64;
        let mut at = Derivatives::zero(2);
        let likelihood = Likelihood {
            distribution: Distribution::Weibull,
            lives: &lives,
        };
        likelihood.evaluate(&[shape.ln(), from.ln()], &mut at);
        let sum = at.gradient[1] / shape + worn;
        check.holds("sum_t_pow", sum * from.powf(shape));
        check.holds("scale", from * (sum / worn).powf(shape.recip()));
    }
}

/// A factor that a life has all its time turns its clock: with each life's use multiplied by the
/// factors the reference programs found, the fit finds their intercept, spread and likelihood.
#[test]
fn lives_on_faster_clocks_fit_as_in_the_reference_programs() {
    for id in ["capacitor-aft", "imotor-aft"] {
        let check = Check::named(id);
        let coefficients = check.expected_numbers("coef");
        let rows = check.input("x").as_array().expect("rows").iter();
        let slow: Vec<f64> = rows
            .map(|row| {
                let terms = super::list(row);
                let terms = terms.iter().zip(&coefficients[1..]);
                terms.map(|(x, b)| x * b).sum::<f64>()
            })
            .collect();
        let worn = check.numbers("d");
        let times = check.numbers("t");
        let lives = times
            .iter()
            .zip(&slow)
            .zip(&worn)
            .map(|((t, slow), d)| Observation {
                entry: vec![0.0],
                low: vec![t * (-slow).exp()],
                end: vec![t * (-slow).exp()],
                known: if 0.5 < *d { End::At } else { End::Censored },
                count: 1.0,
                machine: None,
            });
        let lives = Observations::new(1, lives.collect());
        let fit = fit::maximum_likelihood(Distribution::Weibull, &lives).expect("a maximum");
        check.holds("sigma", fit.shape().recip());
        assert!((fit.scale().ln() / coefficients[0] - 1.0).abs() < 2e-4);
        // From densities of turned clocks back to densities of time.
        let turned: f64 = slow.iter().zip(&worn).map(|(s, d)| s * d).sum();
        check.holds("loglik", fit.log_likelihood() - turned);
    }
}

/// Repairs of a fertilizer spreader, price times the share that the program puts beside a forecast.
#[test]
fn the_repair_curve_is_that_of_the_reference() {
    let check = Check::named("repair-spreader");
    let price = check.number("price");
    let hours = check.numbers("hours");
    let accumulated: Vec<f64> = hours.iter().map(|h| price * repair_share(*h)).collect();
    check.holds_all("accumulated", &accumulated);
    let ends = check.numbers("from_to");
    check.holds(
        "between",
        price * (repair_share(ends[1]) - repair_share(ends[0])),
    );
    check.holds("share_at_life", repair_share(1_200.0));
}

/// What the built-in chains call worn is the 3 % of the trade's texts, on 24 pitches of an inch.
#[test]
fn the_limit_of_the_built_in_chains_is_that_of_roller_chain_practice() {
    let check = Check::named("chain-elongation");
    let new = check.number("pitches") * check.number("pitch_in");
    for name in ["conveyor-chain", "conveyor-chain-stainless"] {
        let limit = Families::built_in().get(name).wear.expect("a limit");
        assert_eq!(
            (limit.measure.as_str(), limit.unit.as_str(), limit.new),
            ("elongation", "%", 0.0)
        );
        check.holds("length_at_3_percent_in", new * (1.0 + limit.limit / 100.0));
        // Below 67 teeth, as every sprocket of such a conveyor is.
        let of_few_teeth = check.expected_numbers("limit_percent")[0];
        assert!((limit.limit - of_few_teeth).abs() < 1e-12);
    }
}
