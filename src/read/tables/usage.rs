//! `usage`: rows are borrowed and go straight into daily sums, because there may be very many.

use std::hash::{DefaultHasher, Hash, Hasher};

use chrono::Datelike;

use crate::read::cell::Cell;
use crate::read::header::{AmountColumns, Columns, Spec};
use crate::read::parquet::Batch;
use crate::read::row::Row;
use crate::read::sink::Take;
use crate::record::check::LogCheck;

use super::narrow::Narrow;

pub(super) const SPEC: Spec = Spec {
    name: "usage",
    columns: &[
        ("date", true),
        ("machine", true),
        ("product", true),
        ("bin", false),
    ],
    amounts: AmountColumns::Use { needed: true },
    groups: &[],
};

/// Daily sums in place of the log.
pub(super) const SUMS: Spec = Spec {
    name: "usage sums",
    columns: &[
        ("date", true),
        ("machine", true),
        ("group", true),
        ("bin", false),
    ],
    amounts: AmountColumns::Use { needed: true },
    groups: &[],
};

/// Takes the rows of one file of the usage log, or of daily sums.
pub(in crate::read) struct UsageTake<'a> {
    log: &'a mut LogCheck,
    what: Spread,
    source: &'a str,
    begun: bool,
    narrow: Narrow,
}

impl<'a> UsageTake<'a> {
    pub(in crate::read) fn new(log: &'a mut LogCheck, what: Spread, source: &'a str) -> Self {
        Self {
            log,
            what,
            source,
            begun: false,
            narrow: Narrow::default(),
        }
    }

    fn begin(&mut self, columns: &Columns) {
        if !self.begun {
            self.log.file(self.source, columns.factors());
            self.begun = true;
        }
    }
}

/// What rows of use say was spread.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::read) enum Spread {
    Product,
    Group,
}

impl Spread {
    pub(super) fn column(self) -> &'static str {
        match self {
            Self::Product => "product",
            Self::Group => "group",
        }
    }

    pub(super) fn number(self, log: &mut LogCheck, name: &str) -> u32 {
        match self {
            Self::Product => log.product(name),
            Self::Group => log.group(name),
        }
    }
}

/// A mark of a row's unknown columns, so that two loads with tickets of their own are not taken
/// for one entered twice; 0 where the table has no such columns.
pub(super) fn mark<'c>(columns: &Columns, cell: impl Fn(usize) -> Cell<'c>) -> u64 {
    if columns.extra.is_empty() {
        return 0;
    }
    let mut hasher = DefaultHasher::new();
    for index in &columns.extra {
        cell(*index).as_text().hash(&mut hasher);
    }
    hasher.finish().max(1)
}

impl Take for UsageTake<'_> {
    fn row(&mut self, row: &mut Row<'_>) {
        self.begin(row.columns());
        let date = row.needed_date("date");
        let machine = row.needed_str("machine");
        let product = row.needed_str(self.what.column());
        let bin = row.str("bin");
        let amounts = row.amounts_as_written();
        if !row.is_sound() {
            return;
        }
        let machine = self.log.machine(&machine);
        let product = self.what.number(self.log, &product);
        let bin = bin.map(|bin| self.log.bin(&bin));
        let pair = self.log.pair(bin, product);
        let mark = mark(row.columns(), |index| row.at(index).clone());
        let day = u32::try_from(date.num_days_from_ce()).unwrap_or(0);
        self.log
            .row(row.number, day, (machine, pair), amounts, mark);
    }

    fn batch(&mut self, columns: &Columns, batch: &Batch<'_>) -> Option<Vec<u32>> {
        self.begin(columns);
        self.narrow.take(self.log, self.what, columns, batch)
    }
}
