//! Tasks to work: which total belongs to which bin, product and day.

mod change;
mod levels;
mod mass;
mod midnight;
mod products;
mod spots;
mod twice;

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, NaiveDateTime};
use roxmltree::Node;

use products::Products;

use super::device::Devices;
use super::split::{Logs, Shares};
use super::task::{Allocation, Task};
use super::totals::Growth;
use spots::Spot;

use super::{Set, TaskData, TaskDataError, Work, children};

/// Numbers of the data dictionary: applied total mass in kilograms and in grams.
const KILOGRAMS: u16 = 0x0051;
const GRAMS: u16 = 0x0160;
/// Applied total volume in litres and in millilitres.
const LITRES: u16 = 0x0050;
const MILLILITRES: u16 = 0x015f;
/// Total area in square metres; effective total time in seconds.
const AREA: u16 = 0x0074;
const SECONDS: u16 = 0x0077;

/// Most products, and most machines, that one task names.
const MOST_PLACES: usize = 2_000;
/// Most bytes of time logs, each counted as often as it may be gone through.
const MOST_LOGGED: u64 = 32 << 30;

/// Everything of a set of task data that matters here.
pub(super) struct Data<'a> {
    set: &'a Set<'a>,
    devices: Devices,
    products: Products,
    tasks: Vec<Task>,
}

impl<'a> Data<'a> {
    /// `roots`: the main file's root, and those of the files that hold parts of it, each with the
    /// name of its file.
    ///
    /// # Errors
    /// When something is there more often than any machine writes it.
    pub(super) fn new(
        roots: &[(&str, Node<'_, '_>)],
        set: &'a Set<'a>,
    ) -> Result<Self, TaskDataError> {
        let top = |name| {
            roots
                .iter()
                .flat_map(move |(_, root)| children(*root, name))
        };
        let mut devices = Devices::default();
        top("DVC").for_each(|node| devices.add(node));
        devices.finish()?;
        let data = Self {
            set,
            devices,
            products: products::listed(top("PDT")),
            tasks: roots
                .iter()
                .flat_map(|(file, root)| children(*root, "TSK").map(move |task| (*file, task)))
                .enumerate()
                .map(|(i, (file, task))| Task::new(task, i, file))
                .collect(),
        };
        data.limits()?;
        Ok(data)
    }

    /// A file of a few megabytes could name a thousand places in each of a thousand tasks, and the
    /// same large time log in all of them.
    fn limits(&self) -> Result<(), TaskDataError> {
        let mut logged = 0_u64;
        for task in &self.tasks {
            let places = task.allocations.len();
            if MOST_PLACES < places.max(task.machines.len()) {
                let many = format!("{places} products and {} machines", task.machines.len());
                return Err(TaskDataError::TooMany(format!("task {}: {many}", task.id)));
            }
            let bytes: u64 = task.logs.iter().map(|name| self.set.log_length(name)).sum();
            logged = logged.saturating_add(bytes.saturating_mul(places as u64 + 4));
        }
        if MOST_LOGGED < logged {
            let many = "time logs that are gone through over and over".to_owned();
            return Err(TaskDataError::TooMany(many));
        }
        Ok(())
    }

    /// The work of every task that was at work.
    pub(super) fn works(&self, mut notes: Vec<String>) -> TaskData {
        let mut works = Vec::new();
        let mut undated = Vec::new();
        let mut planned = 0;
        self.devices.told_twice(&mut notes);
        products::told_twice(&self.products, &mut notes);
        let earlier = twice::earlier_states(&self.tasks, &mut notes);
        for (index, task) in self.tasks.iter().enumerate() {
            remarks(task, &mut notes);
            let is_plan = matches!(task.status, 1 | 5);
            if !is_plan {
                undated.extend(task.undated.iter().cloned());
            }
            if task.times.is_empty() || is_plan {
                planned += usize::from(is_plan || task.undated.is_empty());
                continue;
            }
            let from = works.len();
            TaskWork::new(self, task, &mut notes).add(&mut works, &mut notes);
            let trouble = if task.status == 6 {
                "its task is marked as cancelled"
            } else if earlier.contains(&index) {
                "its task stands a second time in the file, in a later state"
            } else {
                continue;
            };
            for work in &mut works[from..] {
                work.trouble = Some(trouble.to_owned());
                work.wrong_in = None;
            }
        }
        if 0 < planned {
            let tasks = if planned == 1 {
                "task holds"
            } else {
                "tasks hold"
            };
            notes.push(format!(
                "{planned} {tasks} no work done, only plans: left out, planned is not done."
            ));
        }
        let mut seen = BTreeSet::new();
        notes.retain(|note| seen.insert(note.clone()));
        TaskData {
            works,
            undated,
            notes,
        }
    }

    fn product_name(&self, id: &str) -> Option<String> {
        self.products.get(id).and_then(|p| p.name.clone())
    }
}

fn remarks(task: &Task, notes: &mut Vec<String>) {
    let id = &task.id;
    if !task.odd_ends.is_empty() {
        let more = match task.more_odd_ends {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        notes.push(format!(
            "Task {id}: {}{more}. What they say is not used; hours that nothing else tells are unknown.",
            task.odd_ends.join("; ")
        ));
    }
    if 0 < task.bad_values {
        notes.push(format!(
            "Task {id}: {} values cannot be read and count as unknown.",
            task.bad_values
        ));
    }
    if task.universal {
        notes.push(format!(
            "Task {id}: its times are given in universal time (`Z`); the days are those of universal time too."
        ));
    }
}

/// One quantity: by day, or unknown.
type Daily = Option<BTreeMap<NaiveDate, f64>>;

/// One task, with its totals in reach.
struct TaskWork<'a, 't> {
    data: &'t Data<'a>,
    task: &'t Task,
    /// Readings of each total in the order of time: the stretch at whose end it was written.
    series: BTreeMap<(u16, &'t str), Vec<(usize, i32)>>,
    /// Days of each stretch.
    parts: Vec<midnight::Parts>,
    logs: Logs<'a>,
    /// The last moment that is told of the task.
    until: NaiveDateTime,
    /// An element it refers to that is described twice and not alike.
    ambiguous: Option<&'t str>,
    /// Growth of totals that is worked out already.
    grown: RefCell<BTreeMap<(u16, String), Option<Growth>>>,
}

impl<'a, 't> TaskWork<'a, 't> {
    fn new(data: &'t Data<'a>, task: &'t Task, notes: &mut Vec<String>) -> Self {
        let mut series: BTreeMap<(u16, &str), Vec<(usize, i32)>> = BTreeMap::new();
        let mut below = 0;
        for (stretch, time) in task.times.iter().enumerate() {
            // The last of equal ones.
            let values: BTreeMap<(u16, &str), i32> = time
                .values
                .iter()
                .map(|(ddi, element, value)| ((*ddi, element.as_str()), *value))
                .collect();
            for (key, value) in values {
                if data.devices.is_lifetime(key.0, key.1) {
                    continue;
                }
                if value < 0 {
                    below += 1;
                    continue;
                }
                series.entry(key).or_default().push((stretch, value));
            }
        }
        if 0 < below {
            notes.push(format!(
                "Task {}: {below} totals are below zero, past the end of their counter, and count as unknown.",
                task.id
            ));
        }
        let logs = Logs::new(data.set, task, notes);
        let last = logs.last;
        Self {
            data,
            task,
            series,
            parts: midnight::parts(task, last, notes),
            logs,
            until: task.until().max(last).unwrap_or_default(),
            grown: RefCell::default(),
            ambiguous: elements(task).find(|id| data.devices.is_ambiguous(id)),
        }
    }

    /// Adds the work of every bin.
    fn add(&self, works: &mut Vec<Work>, notes: &mut Vec<String>) {
        let mut shared = BTreeMap::new();
        let spots = self.spots();
        for spot in &spots {
            let (area, seconds) = shared.entry(spot.machine).or_insert_with(|| {
                [AREA, SECONDS]
                    .map(|ddi| self.one_level(ddi, spot.machine, notes))
                    .into()
            });
            let products: BTreeSet<&str> = spot
                .allocations
                .iter()
                .map(|a| a.product.as_str())
                .collect();
            if 1 < products.len() && self.by_log(spot, works, notes) {
                continue;
            }
            let alone = spots.iter().filter(|s| s.machine == spot.machine).count() == 1;
            let mass = self.mass(spot, alone, &spots, notes);
            self.by_day(spot, &mass, area, seconds, works);
        }
    }

    /// A row for each day on which the task was at work.
    fn by_day(
        &self,
        spot: &Spot<'_>,
        mass: &Daily,
        area: &Daily,
        seconds: &Daily,
        works: &mut Vec<Work>,
    ) {
        let mut clock: BTreeMap<NaiveDate, Option<f64>> = BTreeMap::new();
        for (time, parts) in self.task.times.iter().zip(&self.parts) {
            for (day, part) in parts {
                let sum = clock.entry(*day).or_insert(Some(0.0));
                *sum = sum.zip(time.seconds).map(|(sum, all)| sum + all * part);
            }
        }
        // A time log may reach into a day on which no stretch began.
        for day in [mass, area, seconds]
            .into_iter()
            .flatten()
            .flat_map(BTreeMap::keys)
        {
            clock.entry(*day).or_insert(None);
        }
        let at = |daily: &Daily, day| daily.as_ref().and_then(|d| d.get(day).copied());
        for (day, clocked) in &clock {
            let effective = at(seconds, day).filter(|s| 0.0 < *s).or(*clocked);
            let mut work = self.work(spot, *day, self.product(spot));
            work.kilograms = at(mass, day);
            work.square_metres = at(area, day);
            work.hours = effective.map(|s| s / 3600.0);
            works.push(work);
        }
    }

    /// Name of the product of a spot; several that cannot be told apart are named together.
    fn product(&self, spot: &Spot<'_>) -> Option<String> {
        let mut names: Vec<String> = Vec::new();
        for allocation in &spot.allocations {
            let name = self.data.product_name(&allocation.product)?;
            if !names.contains(&name) {
                names.push(name);
            }
        }
        match names.as_slice() {
            [] => None,
            [one] => Some(one.clone()),
            several => Some(format!("mixed: {}", several.join(" + "))),
        }
    }

    fn work(&self, spot: &Spot<'_>, date: NaiveDate, product: Option<String>) -> Work {
        let devices = &self.data.devices;
        let machine = spot.machine.map(|m| &devices.machines[m]);
        let element = spot.element.as_deref().and_then(|id| devices.element(id));
        let trouble = self.twice(spot).or_else(|| {
            let missing = if machine.is_none() {
                "the task does not say which machine did it; expected one machine (`DAN`), or a bin (`PAN`, attribute E) of it"
            } else if product.is_none() {
                "the task does not name the product; expected a `PAN` whose product (`PDT`) has a name (B)"
            } else {
                return None;
            };
            Some(missing.to_owned())
        });
        Work {
            task: self.task.id.clone(),
            started: self.task.times[0].start,
            until: self.until,
            date,
            machine: machine.map(|m| m.key.clone()).unwrap_or_default(),
            machine_name: machine.and_then(|m| m.name.clone()),
            bin: spot.element.clone(),
            bin_name: element.and_then(|e| e.name.clone()),
            product,
            kilograms: None,
            square_metres: None,
            hours: None,
            wrong_in: trouble.as_ref().map(|_| self.task.file.clone()),
            trouble,
        }
    }

    /// What stands in the file twice, so that it cannot be told what the task means by it.
    fn twice(&self, spot: &Spot<'_>) -> Option<String> {
        if let Some(id) = self.ambiguous {
            return Some(format!(
                "it refers to `{id}`, which the file describes twice and not alike"
            ));
        }
        let products = &self.data.products;
        let others = |a: &&Allocation| Some((a.product.clone(), products.get(&a.product)?));
        let mut named = spot.allocations.iter().filter_map(others);
        let (id, product) = named.find(|(_, product)| !product.others.is_empty())?;
        let names: Vec<String> = product.names().map(|name| format!("`{name}`")).collect();
        Some(format!(
            "it refers to the product `{id}`, which stands in the file more than once: {}",
            names.join(", ")
        ))
    }
}

/// Elements that a task refers to.
fn elements(task: &Task) -> impl Iterator<Item = &str> {
    let places = task.allocations.iter().filter_map(|a| a.element.as_deref());
    let values = task.times.iter().flat_map(|time| &time.values);
    places.chain(values.map(|(_, id, _)| id.as_str()))
}

fn days(shares: Shares) -> BTreeMap<NaiveDate, f64> {
    let mut days = BTreeMap::new();
    for ((_, day), value) in shares {
        *days.entry(day).or_default() += value;
    }
    days
}
