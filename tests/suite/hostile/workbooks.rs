//! Workbooks made to do harm.

use std::io::{Cursor, Write as _};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{all, assert_told, check_with, many};

const TYPES: &str =
    r#"<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>"#;
const TOP: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const PARTS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>"#;
const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
/// The header and a row of `stock`.
const ROWS: &str = r#"<row r="1"><c r="A1" t="inlineStr"><is><t>part</t></is></c><c r="B1" t="inlineStr"><is><t>on_hand</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>F-1</t></is></c><c r="B2"><v>3</v></c></row>"#;

/// An archive of these parts.
pub(super) fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .expect("a part");
        writer.write_all(bytes).expect("its bytes");
    }
    writer.finish().expect("an archive").into_inner()
}

/// A workbook with this sheet `stock`, its other parts beside it; `more` sheets of the same cells.
fn book(sheet: &str, beside: &[(&str, &[u8])], more: usize) -> Vec<u8> {
    let sheets = many(2..2 + more, |i| {
        format!(r#"<sheet name="s{i}" sheetId="{i}" r:id="rId1"/>"#)
    });
    let workbook = format!(
        r#"<workbook xmlns="{MAIN}" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="stock" sheetId="1" r:id="rId1"/>{sheets}</sheets></workbook>"#
    );
    let parts = [
        ("[Content_Types].xml", TYPES.as_bytes()),
        ("_rels/.rels", TOP.as_bytes()),
        ("xl/workbook.xml", workbook.as_bytes()),
        ("xl/_rels/workbook.xml.rels", PARTS.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
    ];
    archive(&[&parts[..], beside].concat())
}

fn sheet(before: &str, rows: &str) -> String {
    format!(
        r#"<?xml version="1.0"?>{before}<worksheet xmlns="{MAIN}"><sheetData>{ROWS}{rows}</sheetData></worksheet>"#
    )
}

/// `stock.xlsx` in a good folder whose `stock.csv` is taken away.
fn check(name: &str, bytes: &[u8], status: i32, words: &[&str]) {
    assert_told(name, &check_with("stock.xlsx", bytes), status, words);
}

/// The lists of texts and the sheet of these tests are read as they should be, when sound.
#[test]
fn a_sound_workbook_of_this_make_is_read() {
    check("sound", &book(&sheet("", ""), &[], 0), 0, &["No problems"]);
    let texts =
        format!(r#"<sst xmlns="{MAIN}" count="1" uniqueCount="1"><si><t>F-77</t></si></sst>"#);
    let rows = r#"<row r="3"><c r="A3" t="s"><v>0</v></c><c r="B3"><v>1</v></c></row>"#;
    let output = check_with(
        "stock.xlsx",
        &book(
            &sheet("", rows),
            &[("xl/sharedStrings.xml", texts.as_bytes())],
            0,
        ),
    );
    // No such part: the text was found.
    assert_told("texts", &output, 1, &["row 3", "F-77"]);
}

/// Programs write formulas that no spreadsheet program has worked out: their cells are not empty.
#[test]
fn a_formula_without_its_result_is_told_with_its_cell() {
    let rows = r#"<row r="3"><c r="A3" t="inlineStr"><is><t>F-2</t></is></c><c r="B3"><f>2*3</f><v></v></c></row>"#;
    let words = [
        "row 3, column `on_hand`",
        "the formula `=2*3` without its result",
    ];
    check("formula", &book(&sheet("", rows), &[], 0), 1, &words);
}

#[test]
fn a_sheet_of_a_million_empty_rows_is_read() {
    let rows = many(3..=1_048_576, |i| format!(r#"<row r="{i}"/>"#));
    check(
        "empty rows",
        &book(&sheet("", &rows), &[], 0),
        0,
        &["No problems"],
    );
}

#[test]
fn cells_and_dimensions_beyond_the_end_of_a_sheet_take_no_memory() {
    let claims = format!(
        r#"<worksheet xmlns="{MAIN}"><dimension ref="A1:XFD1048576"/><sheetData>{ROWS}</sheetData></worksheet>"#
    );
    check("a claim", &book(&claims, &[], 0), 0, &["No problems"]);
    for cell in ["ZZZZZ99999999999", "XFE3", "A1048577", "A0", "3", "é3", ""] {
        let rows = format!(r#"<row r="3"><c r="{cell}"><v>1</v></c></row>"#);
        let output = check_with("stock.xlsx", &book(&sheet("", &rows), &[], 0));
        assert!(
            matches!(output.status.code(), Some(0 | 1 | 3)),
            "{cell}: {}",
            all(&output)
        );
        assert!(
            !all(&output).contains("panicked"),
            "{cell}: {}",
            all(&output)
        );
    }
    let last = many(3..300, |i| {
        format!(r#"<row r="{i}"><c r="XFD{i}"><v>1</v></c></row>"#)
    });
    check(
        "last column",
        &book(&sheet("", &last), &[], 0),
        1,
        &["under no header"],
    );
}

/// Room for the texts is made by what the list says of itself.
#[test]
fn a_list_that_claims_billions_of_texts_is_refused() {
    for claim in [
        "4294967295",
        "18446744073709551615",
        " 99999999 ",
        "0000000099999999",
    ] {
        for quote in ["\"", "'"] {
            let texts = format!(
                "<sst xmlns=\"{MAIN}\"{}uniqueCount \n= {quote}{claim}{quote}><si><t>x</t></si></sst>",
                " ".repeat(8_150)
            );
            let bytes = book(
                &sheet("", ""),
                &[("xl/sharedStrings.xml", texts.as_bytes())],
                0,
            );
            let output = check_with("stock.xlsx", &bytes);
            assert_told(claim, &output, 3, &["stock.xlsx", "texts and holds fewer"]);
        }
    }
}

#[test]
fn entities_are_neither_expanded_nor_fetched() {
    let tens = many(0..10, |i| {
        let (name, of) = (char::from(b'b' + i as u8), char::from(b'a' + i as u8));
        format!("<!ENTITY {name} \"{}\">", format!("&{of};").repeat(20))
    });
    let laughs = format!("<!DOCTYPE x [<!ENTITY a \"lol\">{tens}]>");
    let cell = |text: &str| {
        format!(
            r#"<row r="3"><c r="A3" t="inlineStr"><is><t>{text}</t></is></c><c r="B3"><v>1</v></c></row>"#
        )
    };
    check(
        "laughs",
        &book(&sheet(&laughs, &cell("&k;")), &[], 0),
        3,
        &["stock.xlsx"],
    );
    let secret = tempfile::NamedTempFile::new().expect("a file");
    std::fs::write(secret.path(), "the secret words").expect("written");
    let outside = format!(
        "<!DOCTYPE x [<!ENTITY a SYSTEM \"file://{}\">]>",
        secret.path().display()
    );
    let output = check_with("stock.xlsx", &book(&sheet(&outside, &cell("&a;")), &[], 0));
    assert_told("outside", &output, 3, &["stock.xlsx"]);
    assert!(!all(&output).contains("secret words"));
}

#[test]
fn sheets_texts_and_levels_without_end_are_told() {
    check(
        "sheets",
        &book(&sheet("", ""), &[], 20_000),
        3,
        &["more than 1000 sheets"],
    );
    let deep = format!(
        r#"<row r="3"><c r="A3" t="inlineStr">{}"#,
        "<is>".repeat(300_000)
    );
    check(
        "levels",
        &book(&sheet("", &deep), &[], 0),
        3,
        &["stock.xlsx"],
    );
    let missing = r#"<row r="3"><c r="A3" t="s"><v>4000000000</v></c></row>"#;
    check(
        "no such text",
        &book(&sheet("", missing), &[], 0),
        3,
        &["stock.xlsx"],
    );
    let long = format!(
        r#"<row r="3"><c r="A3" t="inlineStr"><is><t>{}</t></is></c></row>"#,
        "x".repeat(10 << 20)
    );
    let output = check_with("stock.xlsx", &book(&sheet("", &long), &[], 0));
    assert_told("a long cell", &output, 1, &["row 3"]);
    assert!(all(&output).len() < 10_000);
}

/// Sizes in the headers of an archive are not believed; what comes out is counted.
#[test]
fn an_archive_that_claims_gigabytes_takes_no_memory() {
    let sound = book(&sheet("", ""), &[], 0);
    for size in [0xffff_fff0_u32, 0xffff_ffff] {
        let mut bytes = sound.clone();
        for (mark, offset) in [(b"PK\x03\x04", 22), (b"PK\x01\x02", 24)] {
            let places: Vec<usize> = (0..bytes.len() - 4)
                .filter(|at| bytes[*at..].starts_with(mark))
                .collect();
            for at in places {
                bytes[at + offset..at + offset + 4].copy_from_slice(&size.to_le_bytes());
            }
        }
        let output = check_with("stock.xlsx", &bytes);
        assert!(
            matches!(output.status.code(), Some(0 | 3)),
            "{}",
            all(&output)
        );
        assert!(!all(&output).contains("panicked"));
    }
}

/// One part of 100 MB, a hundred kilobytes packed, that every entry of the list points to.
#[test]
fn an_archive_whose_entries_are_one_and_the_same_bomb_is_refused() {
    let bytes = archive(&[("xl/worksheets/sheet1.xml", &vec![b' '; 100 << 20])]);
    let find = |mark: &[u8]| bytes.windows(4).position(|w| w == mark).expect("there");
    let (list, end) = (find(b"PK\x01\x02"), find(b"PK\x05\x06"));
    let entry = &bytes[list..end];
    let count = 200_u16;
    let mut bomb = bytes[..list].to_vec();
    (0..count).for_each(|_| bomb.extend(entry));
    bomb.extend(b"PK\x05\x06\0\0\0\0");
    bomb.extend(count.to_le_bytes());
    bomb.extend(count.to_le_bytes());
    bomb.extend((entry.len() as u32 * u32::from(count)).to_le_bytes());
    bomb.extend((list as u32).to_le_bytes());
    bomb.extend([0, 0]);
    check("entries", &bomb, 3, &["stock.xlsx"]);
}
