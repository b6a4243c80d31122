//! A meter beside a log: whether the two can both be right.

use chrono::NaiveDate;

use crate::record::usage::UsageLog;
use crate::record::{MeterKind, MeterReading};
use crate::units::Measure;

/// So many times what the log has, a counter cannot have gone up by work that is in the log (our own
/// choice: counters also run on the road and in the yard).
const TIMES: f64 = 2.0;

/// What one machine has in the log: sums up to each row, and how many rows leave a measure out.
pub(super) struct Logged {
    rows: Vec<(NaiveDate, [f64; 3], [u32; 3])>,
}

impl Logged {
    pub(super) fn of_machine(usage: &UsageLog, machine: &str) -> Self {
        let (mut sums, mut unknown) = ([0.0; 3], [0; 3]);
        let rows = usage.of_machine(machine).map(|day| {
            for (i, measure) in Measure::OF_USE.into_iter().enumerate() {
                match day.amounts.get(measure) {
                    Some(amount) => sums[i] += amount,
                    None => unknown[i] += 1,
                }
            }
            (day.date, sums, unknown)
        });
        Self {
            rows: rows.collect(),
        }
    }

    /// The sum of a measure from one day to another, both counted; `None` where a row leaves it out.
    fn between(&self, from: NaiveDate, to: NaiveDate, measure: Measure) -> Option<f64> {
        let i = measure.index();
        let up_to = |rows: usize| {
            let last = rows.checked_sub(1).map(|last| &self.rows[last]);
            last.map_or((0.0, 0), |(_, sums, unknown)| (sums[i], unknown[i]))
        };
        let before = up_to(self.rows.partition_point(|(date, ..)| *date < from));
        let after = up_to(self.rows.partition_point(|(date, ..)| *date <= to));
        (before.1 == after.1).then_some(after.0 - before.0)
    }

    /// A counter that went up by far more than the log has, in words. On which side of a reading the
    /// work of its own day lies nobody knows: the days of both readings count in full.
    pub(super) fn falls_short(
        &self,
        earlier: &MeterReading,
        later: &MeterReading,
    ) -> Option<String> {
        let measure = match later.meter {
            MeterKind::Acres => Measure::Acres,
            MeterKind::Tons => Measure::Tons,
            MeterKind::Hours => Measure::Hours,
            MeterKind::EngineHours | MeterKind::Miles => return None,
        };
        let logged = self.between(earlier.date, later.date, measure)?;
        let rise = later.reading - earlier.reading;
        (TIMES * logged < rise).then(|| {
            format!(
                "{} from {} to {}: {rise:.0} {} by the meter, {logged:.0} by the log",
                later.machine,
                earlier.date,
                later.date,
                measure.name()
            )
        })
    }
}
