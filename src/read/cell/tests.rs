//! Strict readings of cells.

use super::*;

#[test]
fn a_number_is_plain_digits_or_it_is_no_number() {
    for (text, value) in [
        ("1250.5", 1250.5),
        (" 3 ", 3.0),
        ("+2", 2.0),
        ("1e3", 1000.0),
        (".5", 0.5),
        ("-0", 0.0),
    ] {
        assert_eq!(Cell::text(text).number(), Ok(Some(value)), "{text}");
    }
    for text in [
        "1,250", "12,5", "NaN", "inf", "-inf", "infinity", "12k", "$45", "0x10", "1 250", "e5",
        ".", "1e999", "1.2.3", "--1",
    ] {
        let wrong = Cell::text(text).number().expect_err(text);
        assert_eq!(wrong.kind, ProblemKind::NotANumber, "{text}");
        assert!(wrong.found.contains(text), "{text}");
    }
    for text in ["-5", "-0.1", "1e16"] {
        assert_eq!(
            Cell::text(text).number().expect_err(text).kind,
            ProblemKind::OutOfRange
        );
    }
    assert_eq!(Cell::text(" \u{a0}").number(), Ok(None));
    assert_eq!(
        Cell::Number(f64::NAN).number().expect_err("NaN").kind,
        ProblemKind::NotANumber
    );
}

#[test]
fn a_date_is_a_real_day_in_the_one_form() {
    let iso = DateForm::default();
    assert_eq!(
        Cell::text("2024-02-29").date(&iso),
        Ok(NaiveDate::from_ymd_opt(2024, 2, 29))
    );
    for text in [
        "2025-02-29",
        "2025-02-30",
        "2025-4-3",
        "4/3/2025",
        "2025-04-03T00:00:00",
        "20250403",
        "45000",
        "2025-13-01",
        "２０２５-04-03",
        "0024-01-01",
        "yesterday",
    ] {
        assert_eq!(
            Cell::text(text).date(&iso).expect_err(text).kind,
            ProblemKind::NotADate,
            "{text}"
        );
    }
    assert_eq!(
        Cell::Number(45000.0).date(&iso).expect_err("serial").kind,
        ProblemKind::NotADate
    );
    let noon = NaiveDate::from_ymd_opt(2025, 1, 2)
        .and_then(|d| d.and_hms_opt(12, 0, 0))
        .expect("a real moment");
    assert_eq!(
        Cell::moment(noon).date(&iso).expect_err("noon").kind,
        ProblemKind::NotADate
    );
    let midnight = noon.date().and_time(NaiveTime::MIN);
    assert_eq!(Cell::moment(midnight).date(&iso), Ok(Some(noon.date())));
}

#[test]
fn a_date_format_of_the_settings_is_read_beside_iso() {
    let form = DateForm {
        format: Some("%m/%d/%Y".to_owned()),
    };
    let day = NaiveDate::from_ymd_opt(2025, 4, 3);
    assert_eq!(Cell::text("04/03/2025").date(&form), Ok(day));
    assert_eq!(Cell::text("2025-04-03").date(&form), Ok(day));
    let wrong = Cell::text("31/12/2025").date(&form).expect_err("day first");
    assert!(wrong.expected.contains("%m/%d/%Y"));
}

#[test]
fn a_month_is_four_digits_and_two_or_a_real_date() {
    let iso = DateForm::default();
    let april = NaiveDate::from_ymd_opt(2027, 4, 1);
    assert_eq!(Cell::text("2027-04").month(&iso), Ok(april));
    assert_eq!(Cell::text("2027-04-17").month(&iso), Ok(april));
    assert_eq!(
        Cell::Date(NaiveDate::from_ymd_opt(2027, 4, 17).expect("real")).month(&iso),
        Ok(april)
    );
    for text in ["2027-4", "2027-13", "April 2027", "202704"] {
        assert_eq!(
            Cell::text(text).month(&iso).expect_err(text).kind,
            ProblemKind::NotADate,
            "{text}"
        );
    }
}

#[test]
fn a_part_number_typed_as_a_number_keeps_its_plain_form() {
    assert_eq!(Cell::Number(12345.0).as_text().as_deref(), Some("12345"));
}
