//! Parquet files that claim more than they hold.

use polars_core::prelude::{Column, DataFrame, NamedFrom, Series};
use polars_io::parquet::write::{ParquetCompression, ParquetWriter};

use super::{all, assert_told, check_with};

/// A file of one text column, its pages packed or not.
fn file(rows: usize, compression: ParquetCompression) -> Vec<u8> {
    let texts: Vec<String> = (0..rows).map(|i| format!("F-{i}")).collect();
    let column = Column::from(Series::new("part".into(), texts));
    let mut frame = DataFrame::new(rows, vec![column]).expect("a column");
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .with_compression(compression)
        .finish(&mut frame)
        .expect("a file");
    bytes
}

/// A number as the footer and the pages write it: sevens of bits, the sign in the last.
fn varint(value: i64) -> Vec<u8> {
    let mut rest = ((value << 1) ^ (value >> 63)).cast_unsigned();
    let mut bytes = Vec::new();
    while 0x80 <= rest {
        bytes.push(rest as u8 | 0x80);
        rest >>= 7;
    }
    bytes.push(rest as u8);
    bytes
}

/// The file with another size in the header of its first page; a few bytes more stand before its footer.
fn claiming(bytes: &[u8], size: i64) -> Vec<u8> {
    // After the four letters: the kind of page, then its unpacked size, each after one byte that
    // says which field it is.
    assert_eq!(
        (bytes[4], bytes[6]),
        (0x15, 0x15),
        "a page's header begins here"
    );
    let length = 1 + bytes[7..].iter().position(|b| *b < 0x80).expect("an end");
    let claim = varint(size);
    [&bytes[..7], &claim, &bytes[7 + length..]].concat()
}

/// The files of these tests are read to their end when they are sound, and then lack a column.
#[test]
fn sound_files_of_this_make_are_read() {
    for packed in [
        ParquetCompression::Zstd(None),
        ParquetCompression::Snappy,
        ParquetCompression::Uncompressed,
    ] {
        let output = check_with("stock.parquet", &file(500, packed));
        assert_told(
            "sound",
            &output,
            1,
            &["stock.parquet", "no column `on_hand`"],
        );
    }
}

#[test]
fn a_page_that_claims_gigabytes_is_refused_before_there_is_room_made_for_it() {
    for packed in [
        ParquetCompression::Zstd(None),
        ParquetCompression::Snappy,
        ParquetCompression::Uncompressed,
    ] {
        let sound = file(500, packed);
        for size in [129 << 20, i64::from(i32::MAX)] {
            let output = check_with("stock.parquet", &claiming(&sound, size));
            assert_told(
                "a page",
                &output,
                3,
                &["stock.parquet", "unpacks to more than 128 MB"],
            );
        }
        for size in [-(1 << 20), 1 << 20, 100 << 20, 10 << 30] {
            let output = check_with("stock.parquet", &claiming(&sound, size));
            assert!(
                matches!(output.status.code(), Some(1 | 3)),
                "{}",
                all(&output)
            );
            assert!(!all(&output).contains("panicked"), "{}", all(&output));
        }
    }
}

#[test]
fn a_footer_of_any_length_is_refused() {
    let sound = file(500, ParquetCompression::Snappy);
    let end = sound.len();
    for length in [0, 1, end as u32 - 8, end as u32, i32::MAX as u32, u32::MAX] {
        let mut bytes = sound.clone();
        bytes[end - 8..end - 4].copy_from_slice(&length.to_le_bytes());
        let output = check_with("stock.parquet", &bytes);
        assert_told(
            "a footer",
            &output,
            3,
            &["stock.parquet", "not a sound Parquet file"],
        );
    }
}

#[test]
fn more_columns_than_any_table_has_are_refused() {
    let columns: Vec<Column> = (0..5_000)
        .map(|i| Column::from(Series::new(format!("c{i}").into(), [1_i32])))
        .collect();
    let mut frame = DataFrame::new(1, columns).expect("columns");
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .finish(&mut frame)
        .expect("a file");
    assert_told(
        "columns",
        &check_with("stock.parquet", &bytes),
        3,
        &["2000 columns"],
    );
}
