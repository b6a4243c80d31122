//! What a workbook needs to follow a changed plan: the season replayed at multiples of it.

mod reckon;

use std::collections::{BTreeMap, BTreeSet};

use reckon::{Reckoner, Sum};

use super::fits;
use super::kits::{keep_asked, share_labor};
use super::{Outlook, Study, StudyError};
use crate::forecast::plan::Plan;
use crate::forecast::replay::{Places, Replay, replay};
use crate::forecast::unit::{self, Due, Gathering, InService, Unit};
use crate::life::Ending;
use crate::life::build::Built;
use crate::report::BudgetReport;
use crate::report::live::{FamilyFactors, Live, LiveLine, Place};
use crate::units::Measure;

/// Multiples of the plan that are played: close around it, wide beyond.
const SCALES: [f64; 15] = [
    0.0, 0.25, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0,
];
/// Steps of a scale in which scheduled work is looked for.
const DUE_STEPS: usize = 100;
/// Places and plan rows from which a workbook's formulas would be slow to reckon and nobody's to read.
const MOST_PLACES: usize = 400;
const MOST_PLAN_ROWS: usize = 2_500;
/// Figures beside the expectation: 8 in 10, 9 in 10, low.
const SHARES: [f64; 3] = [0.8, 0.9, 0.1];

impl Study {
    /// As [`Study::budget`], with what lets a workbook follow a changed plan, or a note why it cannot.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn budget_to_change(&self) -> Result<BudgetReport, StudyError> {
        let (outlook, outcome) = self.played()?;
        let mut report = self.summed(&outlook, &outcome);
        let maker = Maker::new(self, &outlook, outcome.total.len());
        match maker.refusal(&report) {
            None => report.live = Some(maker.live(&report)),
            // First, so that it stands on the Summary.
            Some(why) => report.header.notes.insert(
                0,
                format!(
                    "the workbook's figures do not follow changes of the plan or of prices: {why}"
                ),
            ),
        }
        Ok(report)
    }
}

struct Maker<'a> {
    study: &'a Study,
    outlook: &'a Outlook,
    /// Plays of the budget.
    n: usize,
    places: Places,
}

/// Scheduled or decided work of one machine and line.
#[derive(Default)]
struct Dues {
    positions: Vec<String>,
    counts: Vec<usize>,
    jobs: f64,
    pieces: f64,
}

impl<'a> Maker<'a> {
    fn new(study: &'a Study, outlook: &'a Outlook, n: usize) -> Self {
        Self {
            study,
            outlook,
            n,
            places: Places::new(&outlook.in_service),
        }
    }

    /// Why the workbook must stay as it is.
    fn refusal(&self, report: &BudgetReport) -> Option<String> {
        let states = self.outlook.line_states();
        let in_use = |l: usize| states.in_use[l];
        if (0..states.known.len()).any(|l| in_use(l) && !states.known[l]) {
            return Some("the use that wears some part, or its life, is not known".to_owned());
        }
        let (places, rows) = (self.places.len(), report.plan.len());
        if MOST_PLACES < places {
            return Some(format!(
                "{places} kinds of part on their machines are more than a workbook carries tables of ({MOST_PLACES}); ask for some machines with `--machine`"
            ));
        }
        (MOST_PLAN_ROWS < rows).then(|| {
            format!("a plan of {rows} rows is more than its formulas add up in good time ({MOST_PLAN_ROWS}); ask for some machines with `--machine`")
        })
    }

    fn live(&self, report: &BudgetReport) -> Live {
        let settings = &self.study.records.settings;
        let replays: Vec<Replay> = SCALES.iter().map(|s| self.replay(*s)).collect();
        let groups = Self::groups(report);
        let families = self.families(&groups);
        let lines = self.lines(report, &replays);
        let mut places = self.wearing(report, &families, &replays);
        places.extend(self.scheduled(report));
        places.sort_by(|a, b| (a.line, a.machine, &a.bin).cmp(&(b.line, b.machine, &b.bin)));
        let mut live = Live {
            price_change: settings.price_change,
            labor_rate: settings.labor_rate,
            down_rate: settings.down_cost_per_hour,
            scales: SCALES.to_vec(),
            groups,
            families,
            places,
            lines,
            money: Default::default(),
            down: Default::default(),
            machines: Vec::new(),
            products: Vec::new(),
        };
        let reckoner = Reckoner {
            live: &live,
            report,
        };
        let money = |r: &Replay| r.money.clone();
        let down = |r: &Replay| r.down_hours.clone();
        let money = SHARES.map(|p| reckoner.spreads(&replays, p, Sum::Money, money, |_| true));
        let down = SHARES.map(|p| reckoner.spreads(&replays, p, Sum::DownHours, down, |_| true));
        let machines = self.machines(report);
        let machines = (0..report.machines.len()).map(|m| {
            let samples = |r: &Replay| machines[m].map_or_else(Vec::new, |i| r.machines[i].clone());
            SHARES.map(|p| {
                reckoner.spreads(&replays, p, Sum::Money, samples, |place| place.machine == m)
            })
        });
        let machines = machines.collect();
        let products = reckoner.products();
        live.money = money;
        live.down = down;
        live.machines = machines;
        live.products = products;
        live
    }

    /// The plan with the season's use multiplied.
    fn plan(&self, scale: f64) -> Plan {
        let mut plan = self.outlook.plan.clone();
        let season = self.outlook.season;
        for planned in plan.uses.iter_mut().filter(|u| season.holds(u.from)) {
            let amounts = &mut planned.amounts;
            for amount in [&mut amounts.acres, &mut amounts.tons, &mut amounts.hours] {
                *amount = amount.map(|a| a * scale);
            }
        }
        plan
    }

    fn gather(&self, built: &Built, plan: &Plan) -> InService {
        unit::gather(Gathering {
            built,
            ..self.study.gathering(self.outlook, plan)
        })
    }

    fn replay(&self, scale: f64) -> Replay {
        let plan = self.plan(scale);
        let gathered = self.gather(&self.study.built, &plan);
        let base = &self.outlook.in_service;
        let mut in_service = base.clone();
        in_service.with_paths(gathered.paths);
        let is_decided = |due: &&Due| !base.lines[due.line].scheduled;
        in_service.due = gathered.due;
        let wanted = |machine: usize, line: usize| {
            self.study.wants_machine(&base.machines[machine])
                && self.study.wants_family(&base.lines[line].family)
        };
        let mut mates = keep_asked(&mut in_service, wanted).due;
        let beside = &self.outlook.kit_mates.due;
        mates.extend(beside.iter().filter(is_decided).cloned());
        let decided = base.due.iter().filter(is_decided);
        in_service.due.extend(decided.cloned());
        share_labor(&mut in_service, &mates);
        let outlook = Outlook {
            plan,
            in_service,
            ..self.outlook.clone()
        };
        replay(self.study.game(&outlook), &self.places, self.n)
    }

    fn wants(&self, service: &InService, due: &Due) -> bool {
        self.study.wants_machine(&service.machines[due.machine])
            && self.study.wants_family(&service.lines[due.line].family)
    }

    fn groups(report: &BudgetReport) -> Vec<String> {
        let mut groups: Vec<String> = report.plan.iter().map(|l| l.group.clone()).collect();
        groups.sort();
        groups.dedup();
        groups
    }

    fn families(&self, groups: &[String]) -> Vec<FamilyFactors> {
        let assessments = self.outlook.assessments.iter();
        assessments
            .map(|a| {
                let mean = |group: &String| {
                    let place = a.lives.groups.iter().position(|g| g == group);
                    match (place, &a.draws) {
                        (Some(place), Some(draws)) if 0 < place => {
                            let factors = draws.iter().map(|theta| theta[1 + place].exp());
                            factors.sum::<f64>() / draws.len() as f64
                        }
                        _ => 1.0,
                    }
                };
                let options = &self.study.options;
                let estimates = fits::told_factors(a, options.priors, options.level);
                let told = |group: &String| {
                    let place = a.lives.groups.iter().position(|g| g == group)?;
                    estimates[place]
                };
                FamilyFactors {
                    with_found: !a.lives.found.is_empty(),
                    told: groups.iter().map(told).collect(),
                    family: a.family.name.clone(),
                    measure: a.lives.measure,
                    factors: groups.iter().map(mean).collect(),
                    lives: a.lives.counts.lives,
                    worn: a.lives.counts.worn,
                }
            })
            .collect()
    }

    /// Place of each line in service among the report's.
    fn line_of(&self, report: &BudgetReport, line: usize) -> Option<usize> {
        let line = &self.outlook.in_service.lines[line];
        let mut lines = report.lines.iter();
        lines.position(|l| l.family == line.family && l.part == line.part)
    }

    fn machine_of(&self, report: &BudgetReport, machine: usize) -> Option<usize> {
        let name = &self.outlook.in_service.machines[machine];
        report.machines.iter().position(|m| m.machine == *name)
    }

    /// Place of each of the report's machines among those in service.
    fn machines(&self, report: &BudgetReport) -> Vec<Option<usize>> {
        let known = &self.outlook.in_service.machines;
        let machines = report.machines.iter();
        machines
            .map(|m| known.iter().position(|k| *k == m.machine))
            .collect()
    }

    fn lines(&self, report: &BudgetReport, replays: &[Replay]) -> Vec<LiveLine> {
        let service = &self.outlook.in_service.lines;
        let lines = report.lines.iter().filter_map(|line| {
            let same = |l: &unit::Line| l.family == line.family && l.part == line.part;
            let index = service.iter().position(same)?;
            let table =
                |of: fn(&Replay) -> &Vec<f64>| replays.iter().map(|r| of(r)[index]).collect();
            Some(LiveLine {
                labor_hours: service[index].cost.labor_hours,
                down_hours: service[index].down_hours,
                pieces80: table(|r| &r.pieces80),
                jobs80: table(|r| &r.jobs80),
                changes80: table(|r| &r.changes80),
            })
        });
        lines.collect()
    }

    fn wearing(
        &self,
        report: &BudgetReport,
        families: &[FamilyFactors],
        replays: &[Replay],
    ) -> Vec<Place> {
        let service = &self.outlook.in_service;
        let base = SCALES
            .iter()
            .position(|s| (s - 1.0).abs() < 1e-12)
            .unwrap_or(0);
        let places = (0..self.places.len()).filter_map(|p| {
            let unit = self.places.unit(service, p);
            let units = service.units.iter().zip(&self.places.of_unit);
            let mut positions: Vec<String> = units
                .filter(|(_, of)| **of == p)
                .map(|(u, _)| u.position.clone())
                .collect();
            positions.dedup();
            let at_plan = &replays[base].places[p];
            let table = |of: fn(&crate::forecast::replay::PlaceSums) -> f64| {
                replays
                    .iter()
                    .map(|r| of(&r.places[p]))
                    .collect::<Vec<f64>>()
            };
            let decided = service.due.iter().filter(|d| {
                d.line == unit.line
                    && d.machine == unit.machine
                    && positions.contains(&d.position)
                    && d.pieces.to_bits() == unit.pieces.to_bits()
                    && is_place_of(service, unit, d)
            });
            let decided: Vec<&Due> = decided.collect();
            let jobs = decided.iter().filter(|d| d.labor).count() as f64;
            Some(Place {
                machine: self.machine_of(report, unit.machine)?,
                bin: service.paths[unit.path].bin.clone(),
                line: self.line_of(report, unit.line)?,
                family: Some(unit.family),
                positions,
                measure: families[unit.family].measure,
                clock: service.damage[unit.family].clock,
                pieces: unit.pieces,
                worn: table(|s| s.worn),
                p80: table(|s| s.p80),
                sd: table(|s| s.sd),
                damage: at_plan.damage,
                singles: at_plan.singles,
                single_pieces: at_plan.single_pieces,
                decided: decided.len() as f64,
                due_from: Vec::new(),
                jobs_each: share(jobs, decided.len() as f64),
            })
        });
        places.collect()
    }

    /// Scheduled work, and from which scale each of it falls due.
    fn scheduled(&self, report: &BudgetReport) -> Vec<Place> {
        let context = self.study.context();
        let built = Built {
            lives: (self.study.built.lives.iter())
                .filter(|l| {
                    l.ended == Ending::Running && context.families.get(&l.family).service.is_some()
                })
                .cloned()
                .collect(),
            ..Built::default()
        };
        if built.lives.is_empty() {
            return Vec::new();
        }
        // As planned, work takes labor of its own or that of what is done beside it.
        let base = &self.outlook.in_service;
        let jobs = base
            .due
            .iter()
            .filter(|d| d.labor && base.lines[d.line].scheduled);
        let with_labor: BTreeSet<_> = jobs
            .map(|d| (&base.machines[d.machine], &d.position, d.date))
            .collect();
        let steps = (SCALES[SCALES.len() - 1] * DUE_STEPS as f64).round() as usize;
        let mut found: BTreeMap<(usize, usize, u64, Option<String>), Dues> = BTreeMap::new();
        for step in 0..=steps {
            let plan = self.plan(step as f64 / DUE_STEPS as f64);
            let gathered = self.gather(&built, &plan);
            for due in gathered.due.iter().filter(|d| self.wants(&gathered, d)) {
                let line = &gathered.lines[due.line];
                let same =
                    |l: &crate::report::PartLine| l.family == line.family && l.part == line.part;
                let machine = &gathered.machines[due.machine];
                let (Some(line), Some(machine)) = (
                    report.lines.iter().position(same),
                    report.machines.iter().position(|m| m.machine == *machine),
                ) else {
                    continue;
                };
                let position = context
                    .records
                    .position(&gathered.machines[due.machine], &due.position);
                let bin = position.and_then(|p| p.bin.clone());
                let key = (line, machine, due.pieces.to_bits(), bin);
                let dues = found.entry(key).or_default();
                dues.counts.resize(steps + 1, 0);
                dues.counts[step] += 1;
                dues.pieces = due.pieces;
                if !dues.positions.contains(&due.position) {
                    dues.positions.push(due.position.clone());
                }
                if step == DUE_STEPS {
                    let own = (&gathered.machines[due.machine], &due.position, due.date);
                    dues.jobs += f64::from(u8::from(with_labor.contains(&own)));
                }
            }
        }
        let place =
            |((line, machine, _, bin), dues): ((usize, usize, u64, Option<String>), Dues)| {
                let service = context.families.get(&report.lines[line].family).service;
                let measure = [Measure::Hours, Measure::Acres, Measure::Tons]
                    .into_iter()
                    .find(|m| service.is_some_and(|s| s.every(*m).is_some()));
                Place {
                    machine,
                    bin,
                    line,
                    family: None,
                    measure: measure.unwrap_or(Measure::Days),
                    clock: Measure::Days,
                    pieces: dues.pieces,
                    worn: vec![0.0; SCALES.len()],
                    p80: vec![0.0; SCALES.len()],
                    sd: vec![0.0; SCALES.len()],
                    damage: 0.0,
                    singles: 0.0,
                    single_pieces: 0.0,
                    decided: 0.0,
                    due_from: thresholds(&dues.counts),
                    jobs_each: share(dues.jobs, dues.counts[DUE_STEPS] as f64),
                    positions: dues.positions,
                }
            };
        found.into_iter().map(place).collect()
    }
}

/// Jobs for each change; one where there is none to count.
fn share(jobs: f64, changes: f64) -> f64 {
    if changes <= 0.0 { 1.0 } else { jobs / changes }
}

/// Scales from which one more falls due. More use never makes less work but for the odd day at the
/// season's ends; there the count at the plan itself holds.
fn thresholds(counts: &[usize]) -> Vec<f64> {
    let mut even: Vec<usize> = counts.to_vec();
    for i in (0..DUE_STEPS).rev() {
        even[i] = even[i].min(even[i + 1]);
    }
    for i in DUE_STEPS + 1..even.len() {
        even[i] = even[i].max(even[i - 1]);
    }
    let most = even.last().copied().unwrap_or(0);
    (1..=most)
        .map(|k| even.partition_point(|c| *c < k) as f64 / DUE_STEPS as f64)
        .collect()
}

/// Whether a change that was decided on belongs to the place of `unit`: where some pieces of a position
/// are changed on the way and others run on, to the place of what is fitted then.
fn is_place_of(service: &InService, unit: &Unit, due: &Due) -> bool {
    let Some(worn_on) = due.worn_on else {
        return true;
    };
    let is_fitted = |path: usize| {
        let rest = service.paths[path].rest_of;
        rest.is_some_and(|(of, _)| of == worn_on)
    };
    let at = |u: &&Unit| {
        (u.machine, &u.position, u.line) == (due.machine, &due.position, due.line)
            && u.pieces.to_bits() == due.pieces.to_bits()
    };
    is_fitted(unit.path)
        || unit.path == worn_on && !service.units.iter().filter(at).any(|u| is_fitted(u.path))
}
