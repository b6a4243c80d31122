//! When chains take over, and what they say of themselves.

use std::f64::consts::PI;

use wearcast::model::health::{Sampler, Trouble};
use wearcast::model::likelihood::Derivatives;
use wearcast::model::newton::Maximum;
use wearcast::model::posterior::{self, Request, Sample, Target};

use super::Case;

fn peak(theta: Vec<f64>, curvature: f64) -> Maximum {
    let n = theta.len();
    let mut derivatives = Derivatives::zero(n);
    for i in 0..n {
        derivatives.hessian[i * n + i] = -curvature;
    }
    Maximum { theta, derivatives }
}

fn request(count: usize) -> Request {
    Request {
        count,
        seed: 5,
        worn: 3.0,
        chains: true,
    }
}

fn mean_of(sample: &Sample, quantity: impl Fn(&[f64]) -> f64) -> f64 {
    sample.points.iter().map(|p| quantity(p)).sum::<f64>() / sample.points.len() as f64
}

/// Two normal bells, one of them twice as likely.
struct TwoPeaks {
    gap: f64,
}

impl Target for TwoPeaks {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        let bell = |center: f64| {
            let z = theta[0] - center;
            (-z * z / 2.0).exp()
        };
        (2.0 * bell(0.0) + bell(self.gap)).ln() - theta[1] * theta[1] / 2.0
    }
}

#[test]
fn two_peaks_within_reach_are_both_drawn_from() {
    let target = TwoPeaks { gap: 4.0 };
    let peaks = [peak(vec![0.0, 0.0], 1.0), peak(vec![4.0, 0.0], 1.0)];
    let sample = posterior::draw(&target, &peaks, &[true, true], request(20_000));
    assert_eq!(sample.health.sampler, Sampler::Chain);
    let right = mean_of(&sample, |p| f64::from(u8::from(2.0 < p[0])));
    // A third, and the overlap of the two bells.
    assert!((right - 0.341).abs() < 0.03, "{right} {:?}", sample.health);
}

#[test]
fn chains_that_stay_at_two_peaks_say_that_they_disagree() {
    let target = TwoPeaks { gap: 14.0 };
    let peaks = [peak(vec![0.0, 0.0], 1.0), peak(vec![14.0, 0.0], 1.0)];
    let sample = posterior::draw(&target, &peaks, &[true, true], request(4_000));
    assert_eq!(sample.health.sampler, Sampler::Chain);
    assert!(matches!(
        sample.health.trouble(),
        Some(Trouble::Disagree(_))
    ));
}

/// A bent ridge: the second parameter lies within about `width` of the square of the first.
struct Banana {
    width: f64,
}

impl Target for Banana {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        let off = (theta[1] - theta[0] * theta[0]) / self.width;
        -theta[0] * theta[0] / 2.0 - off * off / 2.0
    }
}

#[test]
fn chains_take_over_where_few_weighted_draws_carry_the_weight() {
    let start = peak(vec![0.0, 0.0], 1.0);
    let starts = std::slice::from_ref(&start);
    let of = |width, request| posterior::draw(&Banana { width }, starts, &[true, true], request);
    let sample = of(0.3, request(8_000));
    assert_eq!(sample.health.sampler, Sampler::Chain);
    assert_eq!(sample.health.trouble(), None, "{:?}", sample.health);
    let second = mean_of(&sample, |p| p[1]);
    assert!((second - 1.0).abs() < 0.15, "{second} {:?}", sample.health);
    let without = Request {
        chains: false,
        ..request(8_000)
    };
    assert_eq!(of(0.3, without).health.trouble(), Some(Trouble::Weights));
}

/// A ring, with nothing in the middle and out of reach beyond.
struct Ring;

impl Target for Ring {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        let radius = theta[0].hypot(theta[1]);
        if 3.0 < radius {
            return f64::NEG_INFINITY;
        }
        -(radius - 2.0).powi(2) / 0.02
    }
}

#[test]
fn chains_find_their_way_around_a_ring_and_back_from_out_of_reach() {
    let sample = posterior::draw_by_chains(
        &Ring,
        &[peak(vec![2.0, 0.0], 1.0)],
        &[true, true],
        request(4_000),
    )
    .expect("chains start");
    let angle = mean_of(&sample, |p| p[1].atan2(p[0]).abs());
    assert!(
        (angle - PI / 2.0).abs() < 0.3,
        "{angle} {:?}",
        sample.health
    );
    assert!(sample.points.iter().all(|p| p[0].hypot(p[1]) < 3.0));
}

#[test]
fn chains_are_the_same_on_any_number_of_threads() {
    let case = &Case::all()[2];
    let objective = case.objective();
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let pool = pool.expect("threads");
        pool.install(|| case.chains(&objective, 2_000))
    };
    assert_eq!(with(1), with(3));
}
