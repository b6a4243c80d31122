//! Truth put in, truth found again.

use wearcast::study::{Options, Study};

use crate::fleet::{Fleet, TrueFamily};

/// 300 machines, five seasons, some 4,000 lives: every true parameter lies in its 99 % interval.
#[test]
fn a_large_fleet_gives_its_truth_back() {
    let truth = TrueFamily {
        name: "chain",
        shape: 2.4,
        scale: 2_500.0,
        factors: [1.0, 1.5, 2.6],
        price: 100.0,
        positions: 2,
    };
    let fleet = Fleet {
        machines: 300,
        seasons: 5,
        spread: 0.0,
        families: vec![truth.clone()],
        seed: 11,
        gauge: None,
    };
    let played = fleet.play();
    let options = Options {
        priors: false,
        level: 0.99,
        ..Options::default()
    };
    let study = Study::new(played.records, fleet.families(""), options).expect("enough");
    let fits = study.fits().expect("enough");
    let line = &fits.families[0];
    assert!(1_000.0 < line.counts.worn, "{:?}", line.counts);
    let mean = truth.scale * statrs::function::gamma::gamma(1.0 + 1.0 / truth.shape);
    let life = |p: f64| truth.scale * (-(1.0_f64 - p).ln()).powf(1.0 / truth.shape);
    let quantities = [
        ("shape", line.shape, truth.shape),
        ("scale", line.scale, truth.scale),
        ("life10", line.life10, life(0.1)),
        ("life50", line.life50, life(0.5)),
        ("mean", line.mean_life, mean),
        (
            &line.factors[0].group,
            line.factors[0].factor,
            truth.factors[1],
        ),
        (
            &line.factors[1].group,
            line.factors[1].factor,
            truth.factors[2],
        ),
    ];
    for (name, interval, truth) in quantities {
        let interval = interval.expect("estimated");
        let (low, high) = (
            interval.low.expect("bounded"),
            interval.high.expect("bounded"),
        );
        assert!(
            low < truth && truth < high,
            "{name}: {truth} not in {low} .. {high}"
        );
        assert!(
            high / low < 1.5,
            "{name}: {low} .. {high} is no tight interval"
        );
    }
}
