//! Results as CSV: one table each, numbers plain, unknown cells empty.

mod backtest;
mod compare;
mod imports;
mod stock;

pub use backtest::backtest;
pub use compare::compare;
pub use imports::imports;
pub use stock::stock;

use super::check::CheckReport;
use super::fits::FitsReport;
use super::lives::LivesReport;
use super::models::ModelsReport;
use super::remaining::{MeasuredLine, RemainingReport};
use super::{BudgetReport, Estimate, Forecast};
use crate::decide::Advice;
use crate::record::{Severity, formula};
use crate::units::Measure;

/// Rows of cells; the first is the header.
struct Table(csv::Writer<Vec<u8>>);

impl Table {
    fn new<S: AsRef<str>>(header: &[S]) -> Self {
        let mut table = Self(csv::Writer::from_writer(Vec::new()));
        table.row(header.iter().map(|s| s.as_ref().to_owned()));
        table
    }

    fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.0
            .write_record(cells)
            .expect("memory takes every row, and all rows are of one length");
    }

    fn text(self) -> String {
        let bytes = self.0.into_inner().expect("memory can be flushed");
        String::from_utf8(bytes).expect("cells are text")
    }
}

/// Names of columns, with commas between them.
fn heads(names: &str) -> Vec<String> {
    names.split(',').map(str::to_owned).collect()
}

/// Text that a spreadsheet program must not take for a formula.
fn words(text: &str) -> String {
    formula::guarded(text).into_owned()
}

fn word(text: Option<&String>) -> String {
    text.map(|t| words(t)).unwrap_or_default()
}

fn number(value: Option<f64>) -> String {
    value
        .filter(|v| v.is_finite())
        .map(|v| v.to_string())
        .unwrap_or_default()
}

fn shown<T: ToString>(value: Option<T>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

fn forecast_header(name: &str) -> [String; 6] {
    ["expected", "p10", "p50", "p80", "p90", "p95"].map(|q| format!("{name}_{q}"))
}

fn forecast(value: Option<&Forecast>) -> [String; 6] {
    let pick = |of: fn(&Forecast) -> f64| number(value.map(of));
    [
        pick(|f| f.expected),
        pick(|f| f.p10),
        pick(|f| f.p50),
        pick(|f| f.p80),
        pick(|f| f.p90),
        pick(|f| f.p95),
    ]
}

fn estimate(value: Option<&Estimate>) -> [String; 3] {
    [
        number(value.map(|e| e.estimate)),
        number(value.and_then(|e| e.low)),
        number(value.and_then(|e| e.high)),
    ]
}

/// The lives, in a form that `--lives` accepts.
#[must_use]
pub fn lives(report: &LivesReport) -> String {
    let mut header =
        heads("machine,position,slot,part,family,material,fitted,removed,ended,start_known");
    for measure in Measure::ALL {
        let name = measure.name();
        header.extend([
            format!("{name}_entry"),
            format!("{name}_low"),
            name.to_owned(),
        ]);
    }
    header.extend(heads("measure,life,low,entry,reference_group"));
    for group in &report.groups {
        header.extend(["use", "low", "entry"].map(|p| format!("{p}_{group}")));
    }
    let mut table = Table::new(&header);
    for line in &report.lines {
        let mut cells = vec![
            words(&line.machine),
            words(&line.position),
            word(line.slot.as_ref()),
            words(&line.part),
            words(&line.family),
            word(line.material.as_ref()),
            shown(line.fitted),
            shown(line.removed),
            line.ended.name().to_owned(),
            line.fitted.is_some().to_string(),
        ];
        for measure in Measure::ALL {
            let span = line.spans[measure.index()];
            cells.extend([span.entry, span.low, span.end].map(number));
        }
        let own = line.own;
        cells.push(line.measure.name().to_owned());
        cells.extend([own.end, own.low, own.entry].map(number));
        cells.push(word(line.reference.as_ref()));
        let known = line.measure != Measure::Days && own.end.is_some();
        for group in &report.groups {
            let [entry, low, end] = line.groups.get(group).copied().unwrap_or_default();
            cells.extend([end, low, entry].map(|v| number(known.then_some(v))));
        }
        table.row(cells);
    }
    table.text()
}

/// The fits: a row a family, then a row a wear factor.
#[must_use]
pub fn fits(report: &FitsReport) -> String {
    let mut header = heads(
        "family,group,measure,counted,distribution,lives,worn,censored,late_entry,start_unknown,reference_group",
    );
    for name in [
        "shape",
        "scale",
        "life10",
        "life50",
        "mean_life",
        "wear_factor",
    ] {
        header.extend([
            name.to_owned(),
            format!("{name}_low"),
            format!("{name}_high"),
        ]);
    }
    header.extend(heads("p_value,log_likelihood,priors"));
    let mut table = Table::new(&header);
    for line in &report.families {
        let start = |group: &str| {
            let counts = line.counts;
            let mut cells = vec![
                words(&line.family),
                words(group),
                shown(line.measure.map(Measure::name)),
                line.counted.name().to_owned(),
                line.distribution.name().to_owned(),
            ];
            cells.extend(
                [
                    counts.lives,
                    counts.worn,
                    counts.censored,
                    counts.late_entry,
                    counts.start_unknown,
                ]
                .map(|c| c.to_string()),
            );
            cells.push(word(line.reference_group.as_ref()));
            cells
        };
        let mut cells = start("");
        for value in [
            line.shape,
            line.scale,
            line.life10,
            line.life50,
            line.mean_life,
            None,
        ] {
            cells.extend(estimate(value.as_ref()));
        }
        cells.extend([
            String::new(),
            number(line.log_likelihood),
            line.priors.to_string(),
        ]);
        table.row(cells);
        for factor in &line.factors {
            let mut cells = start(&factor.group);
            cells.extend(std::iter::repeat_n(String::new(), 15));
            cells.extend(estimate(factor.factor.as_ref()));
            cells.extend([
                number(factor.p_value),
                String::new(),
                line.priors.to_string(),
            ]);
            table.row(cells);
        }
    }
    table.text()
}

/// Remaining lives.
#[must_use]
pub fn remaining(report: &RemainingReport) -> String {
    let mut header = heads("machine,position,slot,part,family,measure,fitted,age");
    header.extend(forecast_header("remaining"));
    header.extend(heads(
        "chance_this_season,half_worn_date,advice,saving,change_cost,stop_cost",
    ));
    let any_measured = report.any_measured();
    if any_measured {
        header.extend(heads(MEASURED));
    }
    let mut table = Table::new(&header);
    for line in &report.parts {
        let mut cells = vec![
            words(&line.machine),
            words(&line.position),
            word(line.slot.as_ref()),
            words(&line.part),
            words(&line.family),
            shown(line.measure.map(Measure::name)),
            shown(line.fitted),
            number(line.age),
        ];
        let mut left = forecast(Some(&line.remaining));
        left[0] = number(line.expected());
        cells.extend(left);
        cells.extend([
            number(line.chance_this_season),
            shown(line.half_worn_date),
            shown(line.advice.map(Advice::name)),
            number(line.saving),
            number(line.change_cost),
            number(line.stop_cost),
        ]);
        if any_measured {
            cells.extend(measured(line.measured.as_ref()));
        }
        table.row(cells);
    }
    table.text()
}

/// Columns of measured wear, where any part was measured.
const MEASURED: &str =
    "wear_measure,wear_unit,last_reading,read_on,new,limit,past_limit,readings,rate_per_1000";

fn measured(line: Option<&MeasuredLine>) -> [String; 9] {
    let Some(m) = line else {
        return std::array::from_fn(|_| String::new());
    };
    [
        words(&m.measure),
        words(&m.unit),
        number(Some(m.reading)),
        m.date.to_string(),
        number(Some(m.new)),
        number(Some(m.limit)),
        shown(m.past_limit),
        m.readings.to_string(),
        number(m.rate_per_1000.map(|r| r.estimate)),
    ]
}

/// The lines of a budget, the total last.
#[must_use]
pub fn budget(report: &BudgetReport) -> String {
    let mut header = heads("family,part,description,price,pack");
    for name in [
        "replacements",
        "pieces",
        "parts_cost",
        "labor_cost",
        "down_cost",
        "total",
    ] {
        header.extend(forecast_header(name));
    }
    let mut table = Table::new(&header);
    for line in &report.lines {
        let mut cells = vec![
            words(&line.family),
            words(&line.part),
            word(line.description.as_ref()),
            number(line.price),
            line.pack.to_string(),
        ];
        let columns = [
            line.replacements.as_ref(),
            line.pieces.as_ref(),
            line.parts_cost.as_ref(),
            line.labor_cost.as_ref(),
            line.down_cost.as_ref(),
            None,
        ];
        cells.extend(columns.into_iter().flat_map(forecast));
        table.row(cells);
    }
    let mut cells = vec!["TOTAL".to_owned()];
    cells.extend(std::iter::repeat_n(String::new(), 4 + 4 * 6));
    cells.extend(forecast(report.down_total.as_ref()));
    cells.extend(forecast(report.total.as_ref()));
    table.row(cells);
    table.text()
}

/// Part families.
#[must_use]
pub fn models(report: &ModelsReport) -> String {
    let mut header = heads("family,built_in,measure,counted,distribution");
    for name in ["life50", "shape", "wear_factor"] {
        header.extend([
            name.to_owned(),
            format!("{name}_low"),
            format!("{name}_high"),
        ]);
    }
    header.extend(Measure::ALL.map(|m| format!("every_{}", m.name())));
    header.extend(heads(
        "wear_measure,wear_unit,wear_new,wear_limit,description,source,caution",
    ));
    let mut table = Table::new(&header);
    for line in &report.families {
        let mut cells = vec![
            words(&line.family),
            line.built_in.to_string(),
            line.measure.name().to_owned(),
            line.counted.name().to_owned(),
            line.distribution.name().to_owned(),
        ];
        for value in [line.life50, line.shape, line.wear_factor] {
            cells.extend(estimate(value.as_ref()));
        }
        cells.extend(Measure::ALL.map(|m| number(line.service.and_then(|s| s.every(m)))));
        let wear = line.wear.as_ref();
        cells.extend([
            word(wear.map(|w| &w.measure)),
            word(wear.map(|w| &w.unit)),
            number(wear.map(|w| w.new)),
            number(wear.map(|w| w.limit)),
            words(&line.description),
            word(line.source.as_ref()),
            word(line.caution.as_ref()),
        ]);
        table.row(cells);
    }
    table.text()
}

/// Problems and remarks of a check.
#[must_use]
pub fn check(report: &CheckReport<'_>) -> String {
    let mut table = Table::new(&heads("severity,file,row,column,found,expected"));
    for problem in report.problems {
        let severity = match problem.severity {
            Severity::Problem => "problem",
            Severity::Remark => "remark",
        };
        table.row([
            severity.to_owned(),
            words(&problem.place.source),
            shown(problem.place.row),
            problem
                .place
                .column
                .as_deref()
                .map_or_else(String::new, words),
            words(&problem.found),
            words(&problem.expected),
        ]);
    }
    table.text()
}
