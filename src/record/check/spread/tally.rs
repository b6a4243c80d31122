//! What became of meter readings, in words.

use std::collections::BTreeSet;

/// Stretches told one by one.
const TOLD: usize = 3;

/// How many stretches met which fate.
#[derive(Default)]
pub(super) struct Tally {
    pub(super) by_log: u64,
    pub(super) by_months: u64,
    pub(super) by_days: u64,
    pub(super) unknown_product: u64,
    /// Machines whose products are those of the fleet, as nothing says which they were.
    pub(super) of_fleet: BTreeSet<String>,
    /// Machines whose products are taken to have been those that are planned.
    pub(super) of_plan: BTreeSet<String>,
    pub(super) logged: u64,
    pub(super) bins: BTreeSet<String>,
    pub(super) lost: Vec<String>,
    /// Stretches over which a meter went up by far more than the log has.
    pub(super) beyond: Vec<String>,
    pub(super) before: Vec<String>,
    /// Machines last read long before the records end, with the day.
    pub(super) after: Vec<String>,
}

impl Tally {
    /// The same of what is guessed at, which figures hang on.
    pub(super) fn guessed(&self) -> Vec<(String, String)> {
        let mut guessed = Vec::new();
        let machines: Vec<&str> = self.of_fleet.iter().map(String::as_str).collect();
        if !machines.is_empty() {
            guessed.push((
                format!(
                    "nothing says what was spread, so that the fleet's products are taken, of: {}",
                    machines.join(", ")
                ),
                "a column `product` beside their readings; one that spread none of the fleet's lime wears far less"
                    .to_owned(),
            ));
        }
        let machines: Vec<&str> = self.of_plan.iter().map(String::as_str).collect();
        if !machines.is_empty() {
            guessed.push((
                format!(
                    "nothing says what was spread, so that it is taken to be what the plan has, in its shares, of: {}",
                    machines.join(", ")
                ),
                "a column `product` beside their readings, where it was something else".to_owned(),
            ));
        }
        if !self.after.is_empty() {
            guessed.push((
                format!(
                    "no use is counted after the last reading of: {}",
                    self.after.join(", ")
                ),
                "a reading near the end of the records, or `retired` for a machine that has left"
                    .to_owned(),
            ));
        }
        guessed
    }

    /// What was found and what is expected, for each remark.
    pub(super) fn told(&self) -> Vec<(String, String)> {
        let mut told = Vec::new();
        let stretches = |n: u64| {
            format!(
                "{n} {} between readings",
                if n == 1 { "stretch" } else { "stretches" }
            )
        };
        let mut add = |n: u64, found: &str, expected: &str| {
            if 0 < n {
                told.push((format!("{} {found}", stretches(n)), expected.to_owned()));
            }
        };
        add(
            self.by_log,
            "whose use is laid evenly on the days on which the fleet worked",
            "a usage log, where one can be kept; a wear-out in between counts from the earlier reading on",
        );
        add(
            self.by_months,
            "whose use is laid evenly on the days of March to June and August to November",
            "a usage log, where one can be kept; the months are common practice, and a wear-out in between counts from the earlier reading on",
        );
        add(
            self.by_days,
            "outside the months of field work, whose use is laid evenly on every day",
            "a usage log, where one can be kept; a wear-out in between counts from the earlier reading on",
        );
        add(
            self.unknown_product,
            "of which nothing says what was spread",
            "a column `product` beside the readings; until then it is counted as a product of its own, `unknown product`",
        );
        add(
            self.logged,
            "that the usage log has rows of",
            "readings only where the log has none; the log is used, the readings are kept",
        );
        if !self.beyond.is_empty() {
            let first: Vec<&str> = self.beyond.iter().take(TOLD).map(String::as_str).collect();
            let more = match self.beyond.len() - first.len() {
                0 => String::new(),
                more => format!("; and {more} more"),
            };
            told.push((
                format!(
                    "more than twice what the log has: {}{more}",
                    first.join("; ")
                ),
                "all of the machine's work in the log, which alone is used; mend the reading if it is mistyped"
                    .to_owned(),
            ));
        }
        let machines = |names: &mut dyn Iterator<Item = &String>| {
            names.cloned().collect::<Vec<_>>().join(", ")
        };
        if !self.bins.is_empty() {
            told.push((
                format!(
                    "readings of machines with several bins, not used: {}",
                    machines(&mut self.bins.iter())
                ),
                "a usage log with bins: readings cannot say which bin the use went through"
                    .to_owned(),
            ));
        }
        if !self.lost.is_empty() {
            told.push((
                format!("use between the old counter's last reading and the new counter is not known: {}", machines(&mut self.lost.iter())),
                "a last reading of the old counter and a first one of the new, both on the day of the change".to_owned(),
            ));
        }
        if !self.before.is_empty() {
            told.push((
                format!(
                    "use before the first reading is not known: {}",
                    machines(&mut self.before.iter())
                ),
                "`records_from` in machines, on the day of the first reading".to_owned(),
            ));
        }
        told
    }
}
