//! Pictures: what is drawn stands where its figures say.

use wearcast::model::Distribution;
use wearcast::plot::{
    Caption, Group, Mark, ProbabilityFigure, Reference, Row, RowsFigure, Scale, SharePoint,
};

/// Centres of the circles of that radius.
fn circles(svg: &str, radius: &str) -> Vec<(f64, f64)> {
    let number = |text: &str, name: &str| -> f64 {
        let at = text
            .split(&format!("{name}=\""))
            .nth(1)
            .expect("the attribute");
        let digits = at.split('"').next().expect("its value");
        digits.parse().expect("a number")
    };
    let circles = svg.split("<circle ").skip(1);
    circles
        .filter(|c| {
            c.split('>')
                .next()
                .unwrap_or("")
                .contains(&format!("r=\"{radius}\""))
        })
        .map(|c| (number(c, "cx"), number(c, "cy")))
        .collect()
}

fn drawn(distribution: Distribution, lives: &[(f64, f64)]) -> String {
    let points = lives.iter().map(|(life, share)| SharePoint {
        low: *life,
        high: *life,
        share: *share,
        share_low: None,
        share_high: None,
    });
    let figure = ProbabilityFigure {
        caption: Caption::default(),
        distribution,
        across: String::new(),
        upward: String::new(),
        tell: &|v| format!("{v}"),
        points: points.collect(),
        line: Vec::new(),
        band: "band",
    };
    figure.draw().svg()
}

/// How far the middle ones of these places lie off the line through the first and the last.
fn off_the_line(places: &[(f64, f64)]) -> f64 {
    let ((x0, y0), (x1, y1)) = (places[0], places[places.len() - 1]);
    let offs = places.iter().map(|(x, y)| {
        let on = y0 + (y1 - y0) * (x - x0) / (x1 - x0);
        (y - on).abs()
    });
    offs.fold(0.0, f64::max)
}

/// The quantiles of a Weibull life by its definition, `scale (-ln(1 - p))^(1 / shape)`.
#[test]
fn lives_of_a_weibull_distribution_lie_on_a_straight_line() {
    let shares = [0.05, 0.2, 0.4, 0.7, 0.95];
    let lives = shares.map(|p| (5_000.0 * (-f64::ln_1p(-p)).powf(1.0 / 2.5), p));
    // The first circle is the key's.
    let rings = &circles(&drawn(Distribution::Weibull, &lives), "4")[1..];
    assert_eq!(rings.len(), 5);
    assert!(off_the_line(rings) < 0.02, "{rings:?}");
    let wrong = &circles(&drawn(Distribution::Lognormal, &lives), "4")[1..];
    assert!(2.0 < off_the_line(wrong), "{wrong:?}");
}

/// Normal quantiles 1.2816, 0.8416, 0.2533 for 90, 80, 60 %: any table of the normal distribution.
#[test]
fn lives_of_a_lognormal_distribution_lie_on_a_straight_line() {
    let quantiles = [
        (0.1, -1.2816),
        (0.4, -0.2533),
        (0.5, 0.0),
        (0.8, 0.8416),
        (0.9, 1.2816),
    ];
    let lives = quantiles.map(|(p, z): (f64, f64)| (2_000.0 * (0.6 * z).exp(), p));
    let rings = &circles(&drawn(Distribution::Lognormal, &lives), "4")[1..];
    assert_eq!(rings.len(), 5);
    assert!(off_the_line(rings) < 0.05, "{rings:?}");
}

#[test]
fn on_a_logarithmic_axis_half_and_twice_lie_equally_far_from_1() {
    let row = |value: f64| Row {
        marks: vec![(Mark::Dot, value)],
        ..Row::default()
    };
    let figure = RowsFigure {
        caption: Caption::default(),
        scale: Scale::Log,
        ends: None,
        axis: String::new(),
        tell: &|v| format!("{v}"),
        reference: Some(Reference {
            value: 1.0,
            words: "1".to_owned(),
        }),
        key: Vec::new(),
        groups: vec![Group {
            heading: None,
            rows: vec![row(0.5), row(1.0), row(2.0)],
        }],
    };
    let dots = circles(&figure.draw().svg(), "4.5");
    assert_eq!(dots.len(), 3);
    let steps = (dots[1].0 - dots[0].0, dots[2].0 - dots[1].0);
    assert!(
        100.0 < steps.0 && (steps.0 - steps.1).abs() < 0.02,
        "{dots:?}"
    );
}
