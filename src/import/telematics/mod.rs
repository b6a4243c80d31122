//! Telematics feeds of ISO 15143-3 (AEMP 2.0): the engine hours and the distance of machines.
//!
//! # Source
//! Shapes of pages from public notes on such feeds and samples of them; the text of the standard
//! was not read. Seen in them: `datetime` as an attribute and as a child, dated namespaces,
//! machines without any meter, install dates in the year 1.

mod tree;

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};

use crate::read::NamedFile;
use tree::Tree;

/// What a meter counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meter {
    /// Hours of the engine over its life.
    EngineHours,
    /// Miles of the machine over its life.
    Miles,
}

impl Meter {
    /// The word in `meters.csv`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::EngineHours => "engine_hours",
            Self::Miles => "miles",
        }
    }

    /// The word for its unit.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::EngineHours => "hours",
            Self::Miles => "miles",
        }
    }
}

/// Kilometres in an international mile: 1,760 yards of 0.9144 m.
pub const KILOMETRES_PER_MILE: f64 = 1.609_344;

/// A meter reading, in the words of the feed.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Numbers of the machine: product identification number, serial number, equipment id; those it has.
    pub numbers: Vec<String>,
    /// Maker and model.
    pub machine_name: String,
    /// When it was read, in universal time; `None`: the feed does not say.
    pub moment: Option<NaiveDateTime>,
    /// What it counts.
    pub meter: Meter,
    /// What it showed, in the meter's unit.
    pub value: Option<f64>,
    /// What the feed says, where it was converted.
    pub note: Option<String>,
    /// Why it cannot be used.
    pub trouble: Option<String>,
}

impl Reading {
    /// The day, in universal time.
    #[must_use]
    pub fn date(&self) -> Option<NaiveDate> {
        self.moment.map(|moment| moment.date())
    }
}

/// What the pages of a feed say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Feed {
    /// In the order of pages, machines and meters.
    pub readings: Vec<Reading>,
    /// What a reader must know, one sentence each.
    pub notes: Vec<String>,
}

/// Why files are no feed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FeedError {
    /// Nothing to read.
    #[error("no .xml or .json file in it")]
    NoFile,
    /// A page that is neither XML nor JSON.
    #[error("`{file}` is not sound {kind} ({why}); fetch it again")]
    Unsound {
        /// The file.
        file: String,
        /// XML or JSON.
        kind: &'static str,
        /// What is wrong, with line and column.
        why: String,
    },
    /// No machine in any page.
    #[error("none of its pages lists a machine (`Equipment`): no telematics feed")]
    NoMachine,
}

/// Reads the pages of a feed.
///
/// # Errors
/// [`FeedError`] when there is no page, one cannot be read, or none lists a machine.
pub fn read(files: &[NamedFile]) -> Result<Feed, FeedError> {
    if files.is_empty() {
        return Err(FeedError::NoFile);
    }
    let mut feed = Feed::default();
    let (mut machines, mut silent) = (0, 0);
    let (mut selves, mut nexts) = (BTreeSet::new(), BTreeSet::new());
    for file in files {
        let page = tree::page(file)?;
        let listed = page.all("equipment");
        for equipment in listed.into_iter().filter(|e| !e.is_leaf()) {
            machines += 1;
            let before = feed.readings.len();
            machine(equipment, &mut feed.readings);
            silent += usize::from(feed.readings.len() == before);
        }
        for link in page.all("links") {
            let href = link.text_of("href").map(str::to_owned);
            match link.text_of("rel") {
                Some("self") => selves.extend(href),
                Some("next") => nexts.extend(href),
                _ => {}
            }
        }
    }
    if machines == 0 {
        return Err(FeedError::NoMachine);
    }
    if 0 < silent {
        feed.notes.push(format!(
            "{silent} of {machines} machines in the feed carry neither engine hours nor a distance."
        ));
    }
    for missing in nexts.difference(&selves) {
        feed.notes.push(format!(
            "The feed goes on at `{missing}`, which is not among the pages given."
        ));
    }
    if !feed.readings.is_empty() {
        feed.notes.push(
            "Times of a feed are universal time: the day of a reading late in the evening may be the next one. \
             Engine hours are not spinner hours."
                .to_owned(),
        );
    }
    Ok(feed)
}

fn machine(equipment: &Tree, readings: &mut Vec<Reading>) {
    let header = equipment.child("equipmentheader").unwrap_or(equipment);
    let mut numbers: Vec<String> = Vec::new();
    for key in ["pin", "serialnumber", "equipmentid"] {
        let number = header.text_of(key).map(str::to_owned);
        numbers.extend(number.filter(|n| !numbers.contains(n)));
    }
    let named = ["oemname", "model"].map(|key| header.text_of(key).unwrap_or_default());
    let new = |at: &Tree, meter| Reading {
        numbers: numbers.clone(),
        machine_name: named.join(" ").trim().to_owned(),
        moment: at.text_of("datetime").and_then(moment),
        meter,
        value: None,
        note: None,
        trouble: None,
    };
    for at in equipment.children("cumulativeoperatinghours") {
        let mut reading = new(at, Meter::EngineHours);
        reading.value = at.text_of("hour").and_then(number);
        readings.push(settled(reading));
    }
    for at in equipment.children("distance") {
        let mut reading = new(at, Meter::Miles);
        let found = at.text_of("odometer");
        let unit = at.text_of("odometerunits").unwrap_or_default();
        let value = found.and_then(number);
        match unit.to_lowercase().as_str() {
            "mile" | "miles" | "mi" => reading.value = value,
            "kilometre" | "kilometres" | "kilometer" | "kilometers" | "km" => {
                reading.value = value.map(|v| v / KILOMETRES_PER_MILE);
                reading.note = found.map(|found| format!("{found} {unit}"));
            }
            "" => reading.trouble = Some("its distance has no unit".to_owned()),
            _ => {
                reading.trouble = Some(format!(
                    "its distance is in `{unit}`, neither miles nor kilometres"
                ));
            }
        }
        readings.push(settled(reading));
    }
}

/// Names what is missing.
fn settled(mut reading: Reading) -> Reading {
    let missing = [
        (
            reading.numbers.is_empty(),
            "the machine has no number to know it by",
        ),
        (
            reading.value.is_none(),
            "the meter shows no number of 0 or more",
        ),
        (
            reading.moment.is_none(),
            "the feed does not say when it was read",
        ),
    ];
    let first = missing.into_iter().find(|(is, _)| *is);
    reading.trouble = reading.trouble.or(first.map(|(_, why)| why.to_owned()));
    reading
}

fn number(text: &str) -> Option<f64> {
    text.parse()
        .ok()
        .filter(|v: &f64| v.is_finite() && 0.0 <= *v)
}

/// A moment in universal time; one without an offset is taken as such.
fn moment(text: &str) -> Option<NaiveDateTime> {
    let with_offset = DateTime::parse_from_rfc3339(text).map(|t| t.with_timezone(&Utc).naive_utc());
    let plain = || NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S%.f");
    let moment = with_offset.or_else(|_| plain()).ok()?;
    // Feeds write the year 1 where nothing was set.
    (1970..2200)
        .contains(&chrono::Datelike::year(&moment))
        .then_some(moment)
}
