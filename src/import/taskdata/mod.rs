//! Task data of ISO 11783-10: who spread what, where, on which day, as the machine recorded it.
//!
//! # Source
//! Element and attribute letters: the V4.3 XML schemas (2018) that ship inside the general-purpose
//! package `isoxml_writer` of the Python index. Meaning of totals: ISO 11783-10:2015 clause 6.8.3 as cited in the
//! comments of open-source readers; the text of the standard itself was not read.

mod device;
mod split;
mod task;
mod timelog;
mod totals;
mod work;

use std::borrow::Cow;
use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveDateTime};
use roxmltree::{Document, Node};

use super::{encoding, xml};
use crate::read::NamedFile;

/// Name of the main file; letter case does not matter.
pub const MAIN: &str = "TASKDATA.XML";

/// Work of one bin with one product on one day of one task, in the words of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    /// Id of the task.
    pub task: String,
    /// When the task was first at work, by the local clock.
    pub started: NaiveDateTime,
    /// The last moment that the file tells of the task, by the local clock.
    pub until: NaiveDateTime,
    /// The local day.
    pub date: NaiveDate,
    /// The machine: its serial number, else its network name, else its id in the file.
    pub machine: String,
    /// What the file calls the machine.
    pub machine_name: Option<String>,
    /// Id of the bin; `None`: the file names none.
    pub bin: Option<String>,
    /// What the file calls the bin.
    pub bin_name: Option<String>,
    /// Name of the product; `None`: the file names none.
    pub product: Option<String>,
    /// Mass spread from this bin, kilograms.
    pub kilograms: Option<f64>,
    /// Area covered by the machine's pass, square metres; all bins at work share it.
    pub square_metres: Option<f64>,
    /// Time at work, hours; all bins at work share it.
    pub hours: Option<f64>,
    /// Why it cannot be used.
    pub trouble: Option<String>,
    /// Name of the file in which that is wrong; `None` where nothing is, or where the file itself says
    /// that the work does not count.
    pub wrong_in: Option<String>,
}

/// A stretch of work that cannot be dated, so that it is work of no day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undated {
    /// Id of the task.
    pub task: String,
    /// File, place, what is found there and what is expected.
    pub problem: String,
}

/// What a set of task data says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TaskData {
    /// In the order of tasks, bins and days.
    pub works: Vec<Work>,
    /// Stretches that are part of no work.
    pub undated: Vec<Undated>,
    /// What a reader must know, one sentence each.
    pub notes: Vec<String>,
}

/// Why files are no task data.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TaskDataError {
    /// No main file.
    #[error(
        "no file TASKDATA.XML in it, nor in a folder right below; give the folder or zip archive that the machine wrote"
    )]
    NoMainFile,
    /// Two sets in one.
    #[error("more than one TASKDATA.XML in it ({0}); import one at a time")]
    Several(String),
    /// Not XML that can be read.
    #[error("`{file}` is not sound XML ({why}); copy it from the machine again")]
    Xml {
        /// The file.
        file: String,
        /// What is wrong, with line and column.
        why: String,
    },
    /// Not text that can be read.
    #[error("`{file}`: {why}")]
    Encoding {
        /// The file.
        file: String,
        /// Which encoding was found, and what to do.
        why: String,
    },
    /// More than any machine writes.
    #[error("{0}: more than any machine writes; copy it from the machine again")]
    TooMany(String),
    /// XML of another kind.
    #[error("`{file}` begins with `{root}` and not with `ISO11783_TaskData`: no task data")]
    OtherRoot {
        /// The file.
        file: String,
        /// Name of its first element.
        root: String,
    },
}

/// The files of one set, found by name without regard to case.
struct Set<'a> {
    /// By name in lower case; of several that differ in case only, the first.
    files: BTreeMap<String, &'a NamedFile>,
}

impl<'a> Set<'a> {
    fn new(files: &'a [NamedFile]) -> Result<Self, TaskDataError> {
        let main = |f: &&NamedFile| f.name.eq_ignore_ascii_case(MAIN);
        let mains: Vec<&NamedFile> = files.iter().filter(main).collect();
        match mains.as_slice() {
            [] => Err(TaskDataError::NoMainFile),
            [one] => {
                let mut set = BTreeMap::new();
                for file in files.iter().filter(|f| f.folder == one.folder) {
                    set.entry(file.name.to_ascii_lowercase()).or_insert(file);
                }
                Ok(Self { files: set })
            }
            several => {
                let list: Vec<String> = several
                    .iter()
                    .map(|f| format!("{}/{}", f.folder, f.name))
                    .collect();
                Err(TaskDataError::Several(list.join(", ")))
            }
        }
    }

    fn get(&self, name: &str) -> Option<&'a NamedFile> {
        self.files.get(&name.to_ascii_lowercase()).copied()
    }

    /// Bytes of a time log.
    fn log_length(&self, name: &str) -> u64 {
        let file = self.get(&format!("{name}.bin"));
        file.map_or(0, |file| file.bytes.len() as u64)
    }
}

/// Text of a file.
fn text(file: &NamedFile) -> Result<Cow<'_, str>, TaskDataError> {
    encoding::text(&file.bytes).map_err(|why| TaskDataError::Encoding {
        file: file.name.clone(),
        why,
    })
}

fn parse<'a>(file: &str, text: &'a str) -> Result<Document<'a>, TaskDataError> {
    xml::parse(text).map_err(|why| TaskDataError::Xml {
        file: file.to_owned(),
        why,
    })
}

/// Most names of one kind that a note lists.
const MOST_LISTED: usize = 10;

/// A list with an end.
fn some_of(names: &[String]) -> String {
    let shown = &names[..names.len().min(MOST_LISTED)];
    match names.len() - shown.len() {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// Child elements of that name.
fn children<'a, 'i: 'a>(
    node: Node<'a, 'i>,
    name: &'static str,
) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(move |n| n.has_tag_name(name))
}

/// An attribute that says something.
fn attribute<'a>(node: Node<'a, '_>, name: &str) -> Option<&'a str> {
    node.attribute(name)
        .map(str::trim)
        .filter(|t| !t.is_empty())
}

fn owned(node: Node<'_, '_>, name: &str) -> Option<String> {
    attribute(node, name).map(str::to_owned)
}

/// Reads task data from its files.
///
/// # Errors
/// [`TaskDataError`] when the main file is missing, is not XML, or is XML of another kind.
pub fn read(files: &[NamedFile]) -> Result<TaskData, TaskDataError> {
    let set = Set::new(files)?;
    let main_file = set.get(MAIN).ok_or(TaskDataError::NoMainFile)?;
    let main_text = text(main_file)?;
    let main = parse(&main_file.name, &main_text)?;
    let root = main.root_element();
    if !root.has_tag_name("ISO11783_TaskData") {
        return Err(TaskDataError::OtherRoot {
            file: main_file.name.clone(),
            root: root.tag_name().name().to_owned(),
        });
    }
    let mut notes = Vec::new();
    let texts = external(&set, root, &mut notes)?;
    let outside = texts
        .iter()
        .map(|(file, text)| Ok((*file, parse(file, text)?)))
        .collect::<Result<Vec<_>, TaskDataError>>()?;
    let main_root = (main_file.name.as_str(), root);
    let roots: Vec<(&str, Node<'_, '_>)> = std::iter::once(main_root)
        .chain(outside.iter().map(|(file, d)| (*file, d.root_element())))
        .collect();
    if attribute(root, "DataTransferOrigin") == Some("1") {
        notes.push(
            "The task data says that it comes from the office and not from the machine; \
             times marked as effective are taken as work done all the same."
                .to_owned(),
        );
    }
    let data = work::Data::new(&roots, &set)?;
    Ok(data.works(notes))
}

/// Texts of other files that hold parts of the main one, with their names.
fn external<'a>(
    set: &Set<'a>,
    root: Node<'_, '_>,
    notes: &mut Vec<String>,
) -> Result<Vec<(&'a str, Cow<'a, str>)>, TaskDataError> {
    let mut texts = Vec::new();
    let mut seen = std::collections::BTreeSet::new();
    for name in children(root, "XFR").filter_map(|x| attribute(x, "A")) {
        let name = format!("{name}.XML");
        // A file named twice, or the main one named as a part of itself, is read once.
        if name.eq_ignore_ascii_case(MAIN) || !seen.insert(name.to_lowercase()) {
            continue;
        }
        match set.get(&name) {
            Some(file) => texts.push((file.name.as_str(), text(file)?)),
            None => notes.push(format!(
                "The file `{name}`, which holds a part of the task data, is missing."
            )),
        }
    }
    Ok(texts)
}
