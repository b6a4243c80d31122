//! Sound inputs, from which others are made by changing them.

use std::io::{Cursor, Read as _, Write as _};

use chrono::NaiveDate;
use polars_core::prelude::{Column, DataFrame, DataType};
use polars_io::parquet::write::{ParquetCompression, ParquetWriter};
use rust_xlsxwriter::{Format, Workbook};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::folder::GOOD;
use super::joined;
use super::tables::{PARTS, TEXTS};

/// A set of task data of two machines.
pub(super) const TASKS: &[u8] = include_bytes!("../../reference/isoxml/TASKDATA/TASKDATA.XML");
const LOG_HEADER: &[u8] = include_bytes!("../../reference/isoxml/TASKDATA/TLG00001.xml");
const LOG: &[u8] = include_bytes!("../../reference/isoxml/TASKDATA/TLG00001.bin");
const ARCHIVE: &[u8] = include_bytes!("../../reference/isoxml/library_v3.zip");

/// A table of lives, one of ages, and lives as the program writes them in JSON.
const LIVES: [&str; 3] = [
    "machine,family,life,ended,low,entry,count,measure,use_Lime,use_Pot ash,entry_Lime,low_Lime\n\
     M1,fin,8400,Worn,8000,,2,tons,5000,3400,100,4000\nM2,fin,,running,,,,,,,\nM3,fin,300,planned,,20,,,300,,\n",
    "family,age,name,count\nfin,350.5,left fin,3\nfin,20,,\n",
    r#"{"lives":[{"family":"fin","life":8400,"ended":"worn","low":8e3,"entry":null,"start_known":true,
    "reference_group":"Lime","use_Lime":8400.5},{"family":"fin","life":null,"ended":"running"}]}"#,
];

/// What a set of a small machine may say: parts of it in a file of its own, volumes, lifetime counters.
const SMALL: &str = r#"<ISO11783_TaskData VersionMajor="3" VersionMinor="0" DataTransferOrigin="2">
<DVC A="DVC-1" B="rig" D="A00A8000000003E9" E="S1"><DET A="DET-1" B="1" C="1" E="0" F="0"/><DET A="DET-3" B="3" C="3" D="front" E="2" F="1"><DOR A="9"/></DET><DPD A="9" B="0050" C="1" D="16"/></DVC>
<PDT A="PDT-1" B="urea"/><PDT A="PDT-2" B="lime" H="1400000"/><XFR A="TSK00001" B="1"/>
<TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" C="3600" D="4"><DLV A="0050" B="900" C="DET-3"/></TIM>
<TIM A="2026-04-14T23:00:00+02:00" B="2026-04-15T02:00:00+02:00" D="4"><DLV A="0051" B="300" C="DET-3"/></TIM>
<PAN A="PDT-1" E="DET-3"/><PAN A="PDT-2" E="DET-3" B="0051" C="100" D="1"/><TLG A="TLG00001" B="90"/></TSK></ISO11783_TaskData>"#;
const SPLIT: &str = r#"<XFC><TSK A="TSK-2" G="3"><TIM A="2026-05-01T08:00:00Z" D="4" C="60"/><PAN A="PDT-1" E="DET-3"/></TSK></XFC>"#;

/// A page in XML: a dated namespace, `datetime` once as an attribute and once as a child, a machine
/// without meters, an install date in the year 1.
pub(crate) const XML: &str = r#"<?xml version="1.0" encoding="utf-8"?>
<Fleet version="1" snapshotTime="2026-04-17T12:00:00Z" xmlns="http://standards.iso.org/iso/15143/-3/2016">
  <Links><rel>self</rel><href>https://example.org/Fleet/1</href></Links>
  <Links><rel>next</rel><href>https://example.org/Fleet/2</href></Links>
  <Equipment>
    <EquipmentHeader><UnitInstallDateTime>0001-01-01T00:00:00</UnitInstallDateTime><OEMName>Sample</OEMName><Model>F9</Model>
      <EquipmentID>red spreader</EquipmentID><SerialNumber>CH-1</SerialNumber><PIN>PIN00000000000001</PIN></EquipmentHeader>
    <Location datetime="2026-04-17T11:00:00Z"><Latitude>41.9</Latitude><Longitude>-93.6</Longitude></Location>
    <CumulativeOperatingHours datetime="2026-04-17T11:30:00Z"><Hour>4810.25</Hour></CumulativeOperatingHours>
    <Distance><OdometerUnits>kilometre</OdometerUnits><Odometer>16093.44</Odometer><datetime>2026-04-17T11:31:00Z</datetime></Distance>
  </Equipment>
  <Equipment><EquipmentHeader><EquipmentID>skid</EquipmentID></EquipmentHeader></Equipment>
</Fleet>"#;

/// The page after it, in JSON.
pub(crate) const JSON: &str = r#"{"version":"1","Links":[{"rel":"self","href":"https://example.org/Fleet/2"}],
 "Equipment":[{"EquipmentHeader":{"OEMName":"Sample","Model":"F9","EquipmentID":"12","SerialNumber":"CH-2"},
   "CumulativeOperatingHours":{"Hour":812,"datetime":"2026-04-16T23:30:00-05:00"},
   "Distance":{"OdometerUnits":"mile","Odometer":"5120.5","datetime":"2026-04-17T04:30:00Z"}}]}"#;

/// A sheet of the owner's own, and the rules it is read by.
const RULES: &str = r#"[usage]
file = "usage book.csv"
separator = ";"
decimal = ","
date_format = "%d.%m.%Y"
[usage.columns]
"Datum" = "date"
"Streuer" = "machine"
"Produkt" = "product"
"Pfund" = { column = "tons", unit = "lb" }
"Ladungen" = { column = "acres", factor = 12.5 }
"Std" = "hours"
[usage.constant]
bin = "rear"
[replacements]
credits = true
[values.machine]
"Der  rote" = "M1"
[usage.values.product]
"lime fine" = "lime"
[replacements.values.reason]
"kaputt" = "worn"
"#;
const SETTINGS: &str = "currency = \"$\"\nunits = \"metric\"\nseason_starts = \"11-01\"\nlabor_rate = 130\nplan_change = -0.1\n\
    reference_group = \"lime\"\nservice_level = 0.9\nbudget_limit = 1e4\ndate_format = \"%Y-%m-%d\"\n";
const OWN_USAGE: &str = "Datum;Streuer;Produkt;Pfund;Ladungen;Std\n01.04.2024;der Rote;Lime fine;480000;2;8\n02.04.2024;M1;potash;40000;1;5,25\n";
const OWN_REPLACEMENTS: &str = "date,machine,position,quantity,reason\n2024,M1,fins,4,kaputt\n2024-05,M2,chain,1,worn\nseason 2024,M1,chain,1,worn\n\
    2024-04-02,M1,fins,4,worn\n2024-04-02,M1,fins,-4,worn\n";
const FAMILY: &str = "family = \"own-fin\"\ndescription = \"...\"\nmeasure = \"best\"\ncounted = \"each\"\ndistribution = \"weibull\"\n\
    [prior]\nshape = { median = 3.0, spread = 2.0 }\nlife50 = { median = 6000, spread = 4.0 }\nwear_factor = { spread = 3.0 }\n\
    [wear]\nmeasure = \"thickness\"\nunit = \"mm\"\nnew = 8.0\nlimit = 4.5\n";
const SERVICE: &str = "family = \"oil\"\nmeasure = \"hours\"\ncounted = \"set\"\n[service]\nevery = { days = 365, hours = 500.5 }\n";

pub(super) fn csv() -> Vec<Vec<u8>> {
    let table = |(index, (_, text)): (usize, &(&str, &str))| {
        let mut bytes = vec![index as u8];
        bytes.extend(text.bytes());
        bytes
    };
    GOOD.iter().enumerate().map(table).collect()
}

pub(super) fn bare() -> Vec<Vec<u8>> {
    LIVES.map(|text| text.as_bytes().to_vec()).to_vec()
}

fn good(name: &str) -> &'static str {
    let found = GOOD.iter().find(|(n, _)| *n == name);
    found.map_or("", |(_, text)| text)
}

pub(super) fn columns() -> Vec<Vec<u8>> {
    let sums = "date,machine,group,acres,tons,hours\n2024-04-01,M1,abrasive,120,240,8\n";
    vec![
        joined(&[RULES, SETTINGS, OWN_USAGE, OWN_REPLACEMENTS]),
        joined(&[RULES, "", OWN_USAGE, good("replacements.csv")]),
        joined(&["", SETTINGS, sums, OWN_REPLACEMENTS]),
    ]
}

pub(super) fn toml() -> Vec<Vec<u8>> {
    vec![joined(&[FAMILY, SETTINGS]), joined(&[SERVICE, ""])]
}

pub(super) fn whole_folder() -> Vec<Vec<u8>> {
    let texts: Vec<&str> = GOOD.iter().map(|(_, text)| *text).collect();
    let plain = [&texts[..], &[SETTINGS, "", FAMILY]].concat();
    let mut metered = plain.clone();
    // Hours come from the meter where the log is not kept.
    metered[4] = "";
    assert_eq!(plain.len(), TEXTS, "a text for each file");
    vec![joined(&plain), joined(&metered)]
}

/// A column of a table, typed by what is in it.
fn column(name: &str, cells: &[&str]) -> Column {
    let some = |cell: &&str| !cell.is_empty();
    let epoch = NaiveDate::from_ymd_opt(1970, 1, 1).expect("a date");
    let day = |cell: &&str| {
        let date: NaiveDate = cell.parse().ok()?;
        Some((date - epoch).num_days() as i32)
    };
    if cells.iter().filter(|c| some(c)).all(|c| day(c).is_some()) {
        let days: Vec<Option<i32>> = cells.iter().map(day).collect();
        let column = Column::new(name.into(), days);
        return column.cast(&DataType::Date).expect("days");
    }
    if cells
        .iter()
        .filter(|c| some(c))
        .all(|c| c.parse::<f64>().is_ok())
    {
        let numbers: Vec<Option<f64>> = cells.iter().map(|c| c.parse().ok()).collect();
        return Column::new(name.into(), numbers);
    }
    let texts: Vec<Option<&str>> = cells.iter().map(|c| some(c).then_some(*c)).collect();
    Column::new(name.into(), texts)
}

/// A table of text as a typed file.
fn typed(text: &str, packed: ParquetCompression) -> Vec<u8> {
    let rows: Vec<Vec<&str>> = text.lines().map(|l| l.split(',').collect()).collect();
    let (header, rows) = rows.split_first().expect("a header");
    let columns = header.iter().enumerate().map(|(at, name)| {
        let cells: Vec<&str> = rows
            .iter()
            .map(|row| row.get(at).copied().unwrap_or(""))
            .collect();
        column(name, &cells)
    });
    let mut frame = DataFrame::new(rows.len(), columns.collect()).expect("columns");
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .with_compression(packed)
        .finish(&mut frame)
        .expect("a file");
    bytes
}

pub(super) fn parquet() -> Vec<Vec<u8>> {
    let sums = "date,machine,group,bin,acres,tons,hours\n2024-04-01,M1,abrasive,rear,120,240,8\n2024-04-02,M1,potash,,1,,\n";
    let usage = good("usage.csv");
    let tables = [
        usage,
        usage,
        good("stock.csv"),
        good("replacements.csv"),
        sums,
        LIVES[0],
    ];
    let mut seeds = Vec::new();
    for (place, text) in tables.iter().enumerate() {
        for packed in [
            ParquetCompression::Uncompressed,
            ParquetCompression::Snappy,
            ParquetCompression::Zstd(None),
        ] {
            let mut bytes = vec![place as u8];
            bytes.extend(typed(text, packed));
            seeds.push(bytes);
        }
    }
    seeds
}

/// A workbook of these tables, numbers and dates typed where they look like it.
pub(crate) fn book(tables: &[(&str, &str)]) -> Vec<u8> {
    let date = Format::new().set_num_format("yyyy-mm-dd");
    let mut book = Workbook::new();
    for (table, text) in tables {
        let sheet = book.add_worksheet();
        sheet
            .set_name(table.trim_end_matches(".csv"))
            .expect("a name");
        for (row, line) in text.lines().enumerate() {
            for (column, cell) in line.split(',').enumerate() {
                let (row, column) = (row as u32, column as u16);
                if let Ok(day) = cell.parse::<NaiveDate>() {
                    sheet
                        .write_with_format(row, column, &day, &date)
                        .expect("a date");
                } else if let Ok(number) = cell.parse::<f64>() {
                    sheet.write(row, column, number).expect("a number");
                } else {
                    sheet.write(row, column, cell).expect("text");
                }
            }
        }
    }
    book.save_to_buffer().expect("a workbook")
}

pub(super) fn xlsx() -> Vec<Vec<u8>> {
    vec![book(&GOOD[..3]), book(&GOOD[8..9])]
}

pub(super) fn sheets() -> Vec<Vec<u8>> {
    let inline = "<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>\
        <row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>part</t></is></c><c r=\"B1\" t=\"str\"><f>1</f><v>on_hand</v></c></row>\
        <row r=\"2\"><c r=\"A2\" t=\"e\"><v>#N/A</v></c><c r=\"B2\" t=\"b\"><v>1</v></c><c r=\"C2\" t=\"d\"><v>2024-04-01T00:00:00</v></c></row></sheetData></worksheet>";
    let parts = |table: &(&str, &str)| {
        let mut archive = ZipArchive::new(Cursor::new(book(&[*table]))).expect("an archive");
        PARTS.map(|name| {
            let mut bytes = Vec::new();
            if let Ok(mut part) = archive.by_name(name) {
                part.read_to_end(&mut bytes).expect("a part");
            }
            bytes
        })
    };
    let mut seeds: Vec<Vec<u8>> = [4, 8, 5].map(|i| joined(&parts(&GOOD[i]))).to_vec();
    let mut odd = parts(&GOOD[8]);
    odd[6] = inline.as_bytes().to_vec();
    seeds.push(joined(&odd));
    seeds
}

pub(super) fn task_data() -> Vec<Vec<u8>> {
    vec![
        joined(&[TASKS, LOG_HEADER, LOG]),
        joined(&[SMALL.as_bytes(), SPLIT.as_bytes(), b""]),
        joined(&[SMALL.as_bytes(), LOG_HEADER, LOG]),
    ]
}

pub(super) fn time_log() -> Vec<Vec<u8>> {
    let places = br#"<TIM A="" D=""><PTN A="" B="" C="" D="" E="" F="" G="" H="" I=""/><DLV A="0160" B="" C="DET-4"/></TIM>"#;
    vec![joined(&[LOG_HEADER, LOG]), joined(&[&places[..], LOG])]
}

pub(super) fn archive() -> Vec<Vec<u8>> {
    let zip = |method| {
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        let files = [
            ("T/TASKDATA.XML", SMALL.as_bytes()),
            ("T/TLG00001.xml", LOG_HEADER),
        ];
        for (name, bytes) in files.into_iter().chain([("T/TLG00001.bin", LOG)]) {
            let options = SimpleFileOptions::default().compression_method(method);
            writer.start_file(name, options).expect("an entry");
            writer.write_all(bytes).expect("its bytes");
        }
        writer.finish().expect("an archive").into_inner()
    };
    let [stored, packed] = [CompressionMethod::Stored, CompressionMethod::Deflated].map(zip);
    vec![ARCHIVE.to_vec(), stored, packed]
}

pub(super) fn telematics() -> Vec<Vec<u8>> {
    vec![
        joined(&[XML, JSON]),
        joined(&[JSON, ""]),
        joined(&[XML, ""]),
    ]
}

pub(super) fn kept_tables() -> Vec<Vec<u8>> {
    let machines =
        "name_in_file,machine,note\nSN-A-1001,M1,\nSN-B-1002,M2,\nPIN00000000000001,M1,x\n";
    let products = "product,name_in_file\nlime,Ag lime\n-,'=1\nurea,Urea 46-0-0\n";
    let bins = "name_in_file,bin\nSN-A-1001 DET-3,rear\n";
    let usage = "date,machine,product,hectares,kg,hours,source\r\n2026-04-14,M1,urea,5,\"1,5\",1,x|y|z|w|v#00000000\r\n";
    let meters = "date,machine,meter,reading\n2026-04-17,M1,engine_hours,4810.25\n";
    vec![
        joined(&["", "", machines, "", ""]),
        joined(&[usage, meters, machines, bins, products]),
        joined(&[good("usage.csv"), good("meters.csv"), machines, bins, ""]),
    ]
}
