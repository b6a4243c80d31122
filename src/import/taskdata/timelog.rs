//! Time logs: a header in XML that names the columns, and records in binary.
//!
//! Record, little endian: milliseconds of the local day (4 bytes), days since 1980-01-01 (2),
//! the position fields that the header leaves empty, the number of values (1), and for each value
//! its column (1) and the value (4). A value that did not change is left out.

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use roxmltree::Node;

use super::{attribute, children};

/// Sizes of the position fields, in the order they stand in a record.
const FIELDS: [(&str, usize); 9] = [
    ("A", 4),
    ("B", 4),
    ("C", 4),
    ("D", 1),
    ("E", 2),
    ("F", 2),
    ("G", 1),
    ("H", 4),
    ("I", 2),
];
const MILLISECONDS_OF_A_DAY: u32 = 86_400_000;
/// From 1970-01-01, the default day, to 1980-01-01: ten years, two of them leap years.
const DAYS_TO_1980: u64 = 3_652;

/// Where a record's values are.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Header {
    /// Data dictionary number and element of each column.
    pub(super) columns: Vec<(u16, String)>,
    /// Bytes of the position fields.
    position: usize,
}

impl Header {
    /// From the root of the header file; `None` where it is no such header.
    pub(super) fn new(root: Node<'_, '_>) -> Option<Self> {
        let position = children(root, "PTN").next();
        let size = |(name, size): &(&str, usize)| {
            let varies = position.is_some_and(|p| p.attribute(*name) == Some(""));
            if varies { *size } else { 0 }
        };
        let columns = children(root, "DLV")
            .map(|d| {
                let number = super::task::ddi(attribute(d, "A")?)?;
                Some((number, attribute(d, "C").unwrap_or_default().to_owned()))
            })
            .collect::<Option<Vec<_>>>()?;
        (root.has_tag_name("TIM") && columns.len() <= 255).then(|| Self {
            columns,
            position: FIELDS.iter().map(size).sum(),
        })
    }
}

/// A record as its bytes give it, and where the next one begins.
struct Raw<'b> {
    milliseconds: u32,
    day: u16,
    values: &'b [u8],
    end: usize,
}

fn raw<'b>(header: &Header, bytes: &'b [u8], at: usize) -> Option<Raw<'b>> {
    let fixed = bytes.get(at..at + 7 + header.position)?;
    let count = usize::from(fixed[6 + header.position]);
    let start = at + 7 + header.position;
    let values = bytes.get(start..start + 5 * count)?;
    let raw = Raw {
        milliseconds: u32::from_le_bytes(fixed[..4].try_into().ok()?),
        day: u16::from_le_bytes(fixed[4..6].try_into().ok()?),
        values,
        end: start + 5 * count,
    };
    let known = |value: &[u8]| usize::from(value[0]) < header.columns.len();
    (raw.milliseconds < MILLISECONDS_OF_A_DAY && values.chunks_exact(5).all(known)).then_some(raw)
}

/// Takes a record: its moment, and column and value of what changed.
type Take<'t> = &'t mut dyn FnMut(NaiveDateTime, &mut dyn Iterator<Item = (usize, i32)>);

/// What a log holds beside its records.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Left {
    /// Whole records.
    pub(super) records: usize,
    /// Bytes between records that belong to none.
    pub(super) stray: usize,
    /// Bytes behind the last record, as where a file was cut off within one.
    pub(super) behind: usize,
}

/// Reads the records one by one: when, and column and value of what changed. The last may be cut
/// off, and stray bytes between records are passed over; how many these were.
pub(super) fn read(header: &Header, bytes: &[u8], take: Take<'_>) -> Left {
    let mut left = Left::default();
    let mut last: Option<u16> = None;
    let mut at = 0;
    let mut lost = false;
    while at < bytes.len() {
        let next = raw(header, bytes, at).filter(|r| match last {
            // After stray bytes only a record close to the last one is believed.
            Some(day) if lost => r.day.abs_diff(day) <= 1,
            Some(day) => day <= r.day.saturating_add(1),
            None => true,
        });
        let Some(record) = next else {
            lost = true;
            left.behind += 1;
            at += 1;
            continue;
        };
        lost = false;
        left.records += 1;
        left.stray += std::mem::take(&mut left.behind);
        last = Some(record.day);
        at = record.end;
        let mut values = record.values.chunks_exact(5).map(|value| {
            let number = [value[1], value[2], value[3], value[4]];
            (usize::from(value[0]), i32::from_le_bytes(number))
        });
        take(moment(&record), &mut values);
    }
    left
}

fn moment(raw: &Raw<'_>) -> NaiveDateTime {
    let first = NaiveDate::default() + Days::new(DAYS_TO_1980);
    let day = first + Days::new(u64::from(raw.day));
    day.and_time(NaiveTime::MIN) + TimeDelta::milliseconds(i64::from(raw.milliseconds))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header() -> Header {
        let text = r#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0051" B="" C="DET-3"/></TIM>"#;
        let document = roxmltree::Document::parse(text).expect("XML");
        Header::new(document.root_element()).expect("a header")
    }

    /// A record at that millisecond of day 16,925 with one value.
    fn record(milliseconds: u32, value: i32) -> Vec<u8> {
        let mut bytes = milliseconds.to_le_bytes().to_vec();
        bytes.extend(16_925_u16.to_le_bytes());
        bytes.extend([0; 9]);
        bytes.extend([1, 0]);
        bytes.extend(value.to_le_bytes());
        bytes
    }

    fn values(bytes: &[u8]) -> (Vec<(String, i32)>, Left) {
        let mut values = Vec::new();
        let left = read(&header(), bytes, &mut |at, of| {
            values.extend(of.map(|(_, value)| (at.to_string(), value)));
        });
        (values, left)
    }

    fn numbers(bytes: &[u8]) -> Vec<i32> {
        values(bytes)
            .0
            .into_iter()
            .map(|(_, value)| value)
            .collect()
    }

    #[test]
    fn records_are_dated_by_the_local_clock() {
        let (found, _) = values(&record(3_600_000, 7));
        assert_eq!(found, [("2026-05-04 01:00:00".to_owned(), 7)]);
    }

    #[test]
    fn a_last_record_that_is_cut_off_is_left_out_and_counted() {
        let mut bytes = [record(1_000, 7), record(2_000, 8)].concat();
        bytes.truncate(bytes.len() - 3);
        assert_eq!(numbers(&bytes), [7]);
        let left = values(&bytes).1;
        let whole = record(1_000, 7).len();
        assert_eq!([left.records, left.stray, left.behind], [1, 0, whole - 3]);
    }

    #[test]
    fn a_stray_byte_costs_no_record_after_it() {
        let bytes = [
            record(1_000, 7),
            vec![0xff],
            record(2_000, 8),
            record(3_000, 9),
        ]
        .concat();
        assert_eq!(numbers(&bytes), [7, 8, 9]);
        let left = values(&bytes).1;
        assert_eq!([left.records, left.stray, left.behind], [3, 1, 0]);
    }

    #[test]
    fn a_count_of_values_beyond_the_end_of_the_file_takes_no_memory() {
        let mut bytes = record(1_000, 7);
        bytes[15] = 255;
        assert!(numbers(&bytes).is_empty());
    }
}
