//! Pages of a small real study, and what is made of them: hostile names, little known, a large fleet.

use std::sync::OnceLock;

use wearcast::report::page::PageReport;
use wearcast::study::{Options, Study};

use crate::workbook::fixture as budgets;

/// A page of a small fleet.
pub(super) fn usual() -> PageReport {
    static PAGE: OnceLock<PageReport> = OnceLock::new();
    PAGE.get_or_init(|| {
        let folder = crate::cli::fleet();
        let (families, _) = wearcast::read::families(Some(folder.path()), None).expect("families");
        let reading = wearcast::read::folder(folder.path(), None, &families).expect("records");
        let mut study = Study::new(reading.records, families, Options::default()).expect("a study");
        study.accounts = reading.accounts;
        let mut page = study.page().expect("a page");
        page.budget = budgets::usual();
        page
    })
    .clone()
}

/// Little is known: no price, no plan, no past.
pub(super) fn thin() -> PageReport {
    let mut page = usual();
    page.budget = budgets::thin();
    page.past = Err("there is one season on record".to_owned());
    for part in &mut page.remaining.parts {
        (part.age, part.chance_this_season) = (None, None);
        (part.advice, part.saving) = (None, None);
    }
    page.remaining.services.clear();
    for family in &mut page.fits.families {
        (family.life10, family.life50, family.plot) = (None, None, None);
        family.factors.iter_mut().for_each(|f| f.factor = None);
    }
    page
}

/// Nothing is known at all.
pub(super) fn bare() -> PageReport {
    let mut page = thin();
    page.budget = budgets::bare();
    page.remaining.parts.clear();
    page.fits.families.clear();
    page
}

const NASTY: [&str; 4] = [
    "<script>alert(1)</script> & \"co\" 'x' </title></svg><img src=https://example.invalid/x onerror=alert(1)>",
    "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
    "a name with many many words that nobody would give a position on a spreader but that somebody might",
    "javascript:alert(1) {{x}} \\u003c ]]> <!-- --> &lt;b&gt;",
];

/// Names that try to leave their place, or have no place to break.
pub(super) fn hostile() -> PageReport {
    let mut page = usual();
    let mut turn = 0;
    let mut next = || {
        turn += 1;
        NASTY[turn % NASTY.len()].to_owned()
    };
    "<b>$".clone_into(&mut page.budget.currency);
    for line in &mut page.budget.lines {
        (line.part, line.description, line.family) = (next(), Some(next()), next());
    }
    for line in &mut page.budget.machines {
        (line.machine, line.site) = (next(), Some(next()));
    }
    page.budget
        .products
        .iter_mut()
        .for_each(|l| l.group = next());
    page.budget.header.notes = vec![next(), next(), next(), next()];
    for line in &mut page.remaining.parts {
        (line.machine, line.position, line.part) = (next(), next(), next());
        line.slot = Some(next());
    }
    for line in &mut page.fits.families {
        (line.family, line.reference_group) = (next(), Some(next()));
        line.factors.iter_mut().for_each(|f| f.group = next());
    }
    if let Ok(past) = &mut page.past {
        for row in &mut past.rows {
            row.family = row.family.take().map(|_| next());
        }
        past.families.iter_mut().for_each(|f| f.family = next());
    }
    for account in &mut page.budget.account {
        account.source = account.source.take().map(|_| next());
    }
    page
}

/// A large fleet: 400 parts in service, 60 families, 40 machines.
pub(super) fn many() -> PageReport {
    let mut page = usual();
    page.budget = budgets::large();
    let parts = page.remaining.parts.clone();
    let many = (0..400).map(|i| {
        let mut part = parts[i % parts.len()].clone();
        part.machine = format!("machine {}", i / 10);
        part.chance_this_season = Some(f64::from(i as u32) / 400.0);
        part
    });
    page.remaining.parts = many.collect();
    let families = page.fits.families.clone();
    let many = (0..60).map(|i| {
        let mut family = families[i % families.len()].clone();
        family.family = format!("family {i}");
        family
    });
    page.fits.families = many.collect();
    page
}
