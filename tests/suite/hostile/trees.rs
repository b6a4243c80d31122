//! XML, JSON and time logs made to do harm.

use std::process::Output;

use super::{assert_told, bounded, dir, many};
use crate::read::Folder;

const BEGIN: &str =
    r#"<ISO11783_TaskData VersionMajor="3" VersionMinor="0" DataTransferOrigin="2">"#;
const RIG: &str = r#"<DVC A="DVC-1" B="rig" E="S1"><DET A="DET-1" B="1" C="1" E="0" F="0"/><DET A="DET-3" B="3" C="3" D="front" E="2" F="0"/></DVC><PDT A="PDT-1" B="urea"/>"#;
const END: &str = "</ISO11783_TaskData>";

/// What `import taskdata` says of a set of files.
fn taskdata(body: &str, more: &[(&str, &[u8])]) -> Output {
    let folder = Folder::good();
    let set = folder.path().join("TASKDATA");
    std::fs::create_dir(&set).expect("a folder");
    std::fs::write(set.join("TASKDATA.XML"), body).expect("a file");
    for (name, bytes) in more {
        std::fs::write(set.join(name), bytes).expect("a file");
    }
    let dir = dir(&folder);
    bounded(&[
        "import",
        "taskdata",
        &format!("{dir}/TASKDATA"),
        "--into",
        &dir,
    ])
}

fn telematics(name: &str, bytes: &str) -> Output {
    let folder = Folder::good();
    folder.write(name, bytes);
    let dir = dir(&folder);
    bounded(&[
        "import",
        "telematics",
        &format!("{dir}/{name}"),
        "--into",
        &dir,
    ])
}

#[test]
fn trees_that_are_deep_wide_or_full_of_names_are_told() {
    let names = many(0..100_000, |i| format!(" a{i}='1'"));
    let spaces = many(0..200, |i| format!(" xmlns:n{i}='u{i}'"));
    let inner = format!("<a{spaces}>{}</a>", "<b xmlns:z='q'/>".repeat(50_000));
    let nested = many(0..20_000, |i| format!("<a xmlns:n{i}='u'>"));
    let cases = [
        ("levels", "<a>".repeat(1_000_000), "levels deep"),
        ("attributes", format!("<TSK{names}/>"), "attributes"),
        ("spaces", inner, "namespaces"),
        ("nested spaces", nested, "levels deep"),
        ("elements", "<a/>".repeat(4_100_000), "nodes limit"),
    ];
    for (name, body, words) in cases {
        let output = taskdata(&format!("{BEGIN}{body}{END}"), &[]);
        assert_told(name, &output, 3, &["TASKDATA.XML", "not sound XML", words]);
        let output = telematics("page.xml", &format!("<Fleet>{body}</Fleet>"));
        assert_told(name, &output, 3, &["page.xml", "not sound XML", words]);
    }
}

#[test]
fn entities_are_refused_before_they_expand_or_are_fetched() {
    let tens = many(0..10, |i| {
        let (name, of) = (char::from(b'b' + i as u8), char::from(b'a' + i as u8));
        format!("<!ENTITY {name} \"{}\">", format!("&{of};").repeat(20))
    });
    for definition in [
        format!("<!ENTITY a \"lol\">{tens}"),
        "<!ENTITY k SYSTEM \"file:///etc/hostname\">".to_owned(),
    ] {
        let begin = format!("<!DOCTYPE x [{definition}]>");
        let output = taskdata(&format!("{begin}{BEGIN}&k;{END}"), &[]);
        assert_told("task data", &output, 3, &["DTD"]);
        let output = telematics("page.xml", &format!("{begin}<Fleet>&k;</Fleet>"));
        assert_told("telematics", &output, 3, &["DTD"]);
    }
}

#[test]
fn json_without_end_is_told() {
    for text in [
        "[".repeat(1_000_000),
        "{\"a\":".repeat(1_000_000),
        format!("[{}1]", "1,".repeat(1_000_000)),
    ] {
        assert_told("json", &telematics("page.json", &text), 3, &["page.json"]);
    }
}

/// Each of these made the work grow with the square of the file, or with the file times its log.
#[test]
fn more_than_any_machine_writes_is_told() {
    let time = r#"<TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4"><DLV A="0051" B="2000" C="DET-3"/></TIM>"#;
    let places = many(0..50_000, |i| format!(r#"<PAN A="PDT-1" E="DET-{i}"/>"#));
    let rigs = many(0..20_000, |i| {
        format!(r#"<DVC A="DVC-{i}" E="S{i}"><DET A="DET-{i}" B="1" C="3" E="1" F="0"/></DVC>"#)
    });
    let task = |inner: &str| format!(r#"<TSK A="TSK-1" G="4">{time}{inner}</TSK>"#);
    let logs = task(r#"<PAN A="PDT-1"/><TLG A="TLG00001"/>"#).repeat(2_000);
    let log = vec![0xff; 4 << 20];
    let header = br#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0051" B="" C="DET-3"/></TIM>"#;
    for (name, body, words) in [
        (
            "places",
            format!("{RIG}{}", task(&places)),
            "50000 products",
        ),
        ("machines", format!("{rigs}{}", task("")), "20000 machines"),
        ("logs", format!("{RIG}{logs}"), "time logs"),
    ] {
        let more: &[(&str, &[u8])] = &[("TLG00001.XML", header), ("TLG00001.BIN", &log)];
        let output = taskdata(&format!("{BEGIN}{body}{END}"), more);
        assert_told(name, &output, 3, &["more than any machine writes", words]);
    }
}

/// Claims of a binary log: counts of values beyond its end, days far apart, nothing that is a record.
#[test]
fn time_logs_that_hold_no_records_are_read_to_their_end() {
    let header = br#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0051" B="" C="DET-3"/></TIM>"#;
    let body = format!(
        r#"{BEGIN}{RIG}<TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4"/><TLG A="TLG00001"/><PAN A="PDT-1" E="DET-3"/></TSK>{END}"#
    );
    let record = |day: u16, count: u8| {
        let mut bytes = 1_000_u32.to_le_bytes().to_vec();
        bytes.extend(day.to_le_bytes());
        bytes.extend([0; 9]);
        bytes.extend([count, 0]);
        bytes.extend(i32::MAX.to_le_bytes());
        bytes
    };
    let days: Vec<u8> = (0..100_000_u32).flat_map(|i| record(i as u16, 1)).collect();
    for log in [
        vec![0xff; 8 << 20],
        vec![0; 8 << 20],
        record(16_925, 255).repeat(1_000),
        days,
    ] {
        let output = taskdata(&body, &[("TLG00001.XML", header), ("TLG00001.BIN", &log)]);
        // The machine's name is not matched yet.
        assert_told("log", &output, 1, &["S1"]);
    }
}
