//! Lives of a bare table as a likelihood takes them.

use crate::life::bare::BareLife;
use crate::model::observations::{End, Observation};

/// A life, and the machine it was on.
type Row = (Observation, Option<String>);

/// Whether so many lives name no machine, beside others that do, that they can be on none of their own.
pub(super) fn are_too_many_unnamed(rows: &[Row]) -> bool {
    const MOST: f64 = 5_000.0;
    let unnamed = rows.iter().filter(|(_, machine)| machine.is_none());
    let lives: f64 = unnamed.clone().map(|(row, _)| row.count).sum();
    unnamed.count() < rows.len() && MOST < lives
}

/// Rows with a machine of its own for every life that names none, where others do.
///
/// - `alike`: whether all machines are taken as alike, so that none has a name.
pub(super) fn of_their_own(rows: Vec<Row>, alike: bool) -> Vec<Row> {
    if alike {
        return rows.into_iter().map(|(row, _)| (row, None)).collect();
    }
    if rows.iter().all(|(_, machine)| machine.is_none()) {
        return rows;
    }
    let mut out = Vec::with_capacity(rows.len());
    for (row, machine) in rows {
        if machine.is_some() {
            out.push((row, machine));
            continue;
        }
        for _ in 0..row.count as usize {
            let one = Observation {
                count: 1.0,
                ..row.clone()
            };
            // No name in a table begins so.
            out.push((one, Some(format!("\0{:06}", out.len()))));
        }
    }
    out
}

/// Where several products count, a wear-out seen exactly lies in the last ten-thousandth of its
/// life's use. The density alone would leave out how fast effective exposure grows, which depends on
/// the wear factors: they would come out far too low.
const LAST: f64 = 1e-4;

pub(super) fn observation(life: &BareLife, end: f64, groups: &[String]) -> Observation {
    let known = match (life.ended.is_wear(), life.low) {
        (false, _) => End::Censored,
        // Low and end alike: seen exactly.
        (true, Some(low)) if low < end => End::Between,
        (true, _) => End::At,
    };
    let low = life.low.unwrap_or(end).max(life.entry);
    if life.groups.is_empty() || groups == [String::new()] {
        let mut row = Observation {
            entry: vec![0.0; groups.len()],
            low: vec![0.0; groups.len()],
            end: vec![0.0; groups.len()],
            known,
            count: life.count as f64,
            machine: None,
        };
        (row.entry[0], row.low[0], row.end[0]) = (life.entry, low, end);
        return row;
    }
    let of = |pick: &dyn Fn(&crate::life::bare::BareUse) -> f64| -> Vec<f64> {
        groups
            .iter()
            .map(|g| life.groups.get(g).map_or(0.0, pick))
            .collect()
    };
    // Where only the whole is known at entry or at the last look, the mix is that of the life.
    let ahead = end - life.entry;
    let share_low = if 0.0 < ahead {
        (low - life.entry) / ahead
    } else {
        1.0
    };
    let mut entry = of(&|u| u.entry);
    if entry.iter().all(|e| *e <= 0.0) && 0.0 < life.entry {
        entry = of(&|u| u.end * life.entry / end);
    }
    let end = of(&|u| u.end);
    let told = groups
        .iter()
        .map(|g| life.groups.get(g).and_then(|u| u.low));
    let mut low: Vec<f64> = (told.zip(entry.iter().zip(&end)))
        .map(|(low, (entry, end))| low.unwrap_or(entry + (end - entry) * share_low))
        .collect();
    let known = if known == End::At {
        low = (end.iter().zip(&entry))
            .map(|(end, entry)| end - LAST * (end - entry))
            .collect();
        End::Between
    } else {
        known
    };
    Observation {
        entry,
        low,
        end,
        known,
        count: life.count as f64,
        machine: None,
    }
}
