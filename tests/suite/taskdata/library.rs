//! A set written by a general-purpose library: version 3, split over two files, in an archive.

use super::{reference, work_of};
use wearcast::import::usage::{acres, tons};

/// `tests/reference/isoxml/make_library_set.py` wrote the set with the package `isoxml` 0.0.4, and
/// the expected table by arithmetic on its plan.
#[test]
fn a_set_written_by_a_library_comes_out_as_planned() {
    let data = work_of(&reference("library_v3.zip"));
    let mut expected =
        csv::Reader::from_path(reference("library_v3_expected.csv")).expect("a table");
    let expected: Vec<csv::StringRecord> = expected.records().map(|r| r.expect("a row")).collect();
    assert_eq!(data.works.len(), expected.len());
    for (work, row) in data.works.iter().zip(&expected) {
        assert_eq!(
            work.machine, "A00A800000000777",
            "no serial number: the network name"
        );
        assert_eq!(work.date.to_string(), row[0]);
        assert_eq!(work.bin.as_deref(), Some(&row[1]));
        assert_eq!(work.product.as_deref(), Some(&row[2]));
        let numbers = [
            work.kilograms,
            work.kilograms.map(tons),
            work.square_metres.map(acres),
            work.hours,
        ];
        for (number, cell) in numbers.into_iter().zip(row.iter().skip(3)) {
            let expected: f64 = cell.parse().expect("a number");
            assert!((number.expect("known") - expected).abs() < 1e-6, "{row:?}");
        }
    }
    assert!(data.notes.iter().any(|n| n.contains("fell on the way")));
}
