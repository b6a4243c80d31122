//! Posterior draws against posteriors computed outside, by the quick way and by Markov chains.
//!
//! `tests/reference/posterior.json` holds the lives, the priors and the values;
//! `tests/reference/posterior.py` computed them with two samplers of its own.

mod calibration;
mod chains;
mod found;
mod words;

use serde_json::Value;
use wearcast::family::Spread;
use wearcast::model::anchor::{Anchor, Anchored, Normal};
use wearcast::model::health::Sampler;
use wearcast::model::likelihood::Likelihood;
use wearcast::model::newton::Maximum;
use wearcast::model::observations::{End, Observation};
use wearcast::model::posterior::{self, Draws, Request, Sample};
use wearcast::model::{Distribution, Observations};

use crate::reference::list;

/// Part of a posterior standard deviation that a value may be off.
const ROOM: f64 = 0.03;

/// Draws enough for their own error to stay within the room: three standard errors of a 5 % point
/// are 6.3 over the root of what they are worth, which grows with the number of lives.
const COUNT: usize = 100_000;

/// One data set with its posterior.
struct Case {
    value: Value,
    observations: Observations,
}

impl Case {
    fn all() -> Vec<Self> {
        let text = include_str!("../reference/posterior.json");
        let cases: Vec<Value> = serde_json::from_str(text).expect("posterior.json is JSON");
        cases.into_iter().map(Self::new).collect()
    }

    fn new(value: Value) -> Self {
        let rows = value["lives"].as_array().expect("lives");
        let lives: Vec<Observation> = rows
            .iter()
            .map(|row| Observation {
                entry: list(&row[0]),
                low: list(&row[1]),
                end: list(&row[2]),
                known: if row[3].as_bool().expect("worn or not") {
                    End::Between
                } else {
                    End::Censored
                },
                count: 1.0,
                machine: None,
            })
            .collect();
        let groups = lives[0].end.len();
        Self {
            observations: Observations::new(groups, lives),
            value,
        }
    }

    fn id(&self) -> &str {
        self.value["id"].as_str().expect("an id")
    }

    fn objective(&self) -> Anchored<'_> {
        let number = |v: &Value| v.as_f64().expect("a number");
        let normal = |v: &Value| {
            let known = !v.is_null();
            let spread = known.then(|| Spread {
                median: number(&v["median"]),
                spread: number(&v["spread"]),
            });
            spread.map(|s| Normal {
                mean: s.ln_mean(),
                sd: s.ln_sd(),
            })
        };
        let given = &self.value["priors"];
        let mut priors = vec![normal(&given["shape"]), normal(&given["life50"])];
        let factor = given["wear_factor"].as_f64().map(|spread| {
            let about_1 = Spread {
                median: 1.0,
                spread,
            };
            Normal {
                mean: 0.0,
                sd: about_1.ln_sd(),
            }
        });
        priors.resize(self.observations.n_groups() + 1, factor);
        Anchored {
            likelihood: Likelihood {
                distribution: match self.value["distribution"].as_str() {
                    Some("weibull") => Distribution::Weibull,
                    Some("lognormal") => Distribution::Lognormal,
                    other => panic!("distribution {other:?}"),
                },
                lives: &self.observations,
            },
            anchor: Anchor::Quantile(0.5),
            priors,
            half_event_at: None,
        }
    }

    fn peaks(&self, objective: &Anchored<'_>) -> Vec<Maximum> {
        let n = objective.likelihood.n_parameters();
        let starts: Vec<Vec<f64>> = [1.0, 2.0, 4.0]
            .iter()
            .map(|shape: &f64| {
                let scale = self.observations.crude_ln_scale(*shape).expect("some use");
                let mut start = vec![shape.ln(), scale];
                start.resize(n, 0.0);
                start
            })
            .collect();
        posterior::peaks(objective, &starts, &vec![true; n]).expect("a peak")
    }

    fn request(&self, count: usize) -> Request {
        Request {
            count,
            seed: 11,
            worn: self.observations.worn(),
            chains: true,
        }
    }

    /// Holds draws against the values from outside.
    fn hold(&self, draws: &Draws, how: &str) {
        let expected = self.value["expected"].as_object().expect("values");
        for (key, values) in expected {
            let pick = |theta: &[f64]| match key.as_str() {
                "ln_shape" => theta[0],
                "ln_scale" => theta[1],
                "ln_life50" => {
                    let median = Anchor::Quantile(0.5);
                    theta[1] + median.offset(draws.distribution, theta[0]).value
                }
                factor => {
                    let place = factor.strip_prefix("ln_factor_").expect("a factor");
                    theta[1 + place.parse::<usize>().expect("a number")]
                }
            };
            let sorted = draws.sorted(pick);
            for (point, p) in [("p05", 0.05), ("median", 0.5), ("p95", 0.95)] {
                let number = |k: &str| values[k].as_f64().expect("a number");
                let found = wearcast::forecast::summary::quantile(&sorted, p);
                let gap = (found - number(point)).abs() / number("sd");
                assert!(
                    gap <= ROOM,
                    "{} {how}: {point} of {key} is {found}, {} outside: {gap:.3} sd",
                    self.id(),
                    number(point)
                );
            }
        }
    }

    fn chains(&self, objective: &Anchored<'_>, count: usize) -> Sample {
        let free = vec![true; objective.likelihood.n_parameters()];
        let peaks = self.peaks(objective);
        posterior::draw_by_chains(objective, &peaks, &free, self.request(count))
            .expect("chains start")
    }
}

#[test]
fn weighted_draws_have_the_posteriors_computed_outside() {
    for case in Case::all() {
        let objective = case.objective();
        let free = vec![true; objective.likelihood.n_parameters()];
        let peaks = case.peaks(&objective);
        let sample = posterior::draw(&objective, &peaks, &free, case.request(COUNT));
        assert_eq!(sample.health.sampler, Sampler::Importance, "{}", case.id());
        assert_eq!(sample.health.trouble(), None, "{}", case.id());
        case.hold(&Draws::alike(&objective, &sample), "weighted");
    }
}

#[test]
fn chains_have_the_posteriors_computed_outside() {
    for case in Case::all() {
        let objective = case.objective();
        let sample = case.chains(&objective, COUNT);
        assert_eq!(sample.health.trouble(), None, "{}", case.id());
        case.hold(&Draws::alike(&objective, &sample), "chains");
    }
}
