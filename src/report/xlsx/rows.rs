//! Sheet `Rows`: every row of the records accounted for.

use rust_xlsxwriter::Workbook;

use super::XlsxError;
use super::page::{About, Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Outcome, Table};
use crate::record::Account;
use crate::report::BudgetReport;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    sheet(workbook, styles, report.into(), &report.account)
}

pub(super) fn sheet(
    workbook: &mut Workbook,
    styles: &Styles,
    about: About,
    account: &[Account],
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Rows", Paper::Portrait, about)?;
    let table = table(account, 2);
    page.fit(&[&table])?;
    page.title("Rows of the records")?;
    page.aside(
        "Every row read is used or set aside. Rows set aside have a problem that the check lists; rows after the as-of \
         date are sound and are treated as not yet known.",
    )?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    page.finish(0)
}

fn table(accounts: &[Account], header_row: u32) -> Table {
    let columns = vec![
        Column::words("Table", 16.0),
        Column::words("From", 36.0),
        Column::new("Read", Kind::Whole),
        Column::new("Used", Kind::Whole),
        Column::new("Set aside", Kind::Whole),
        Column::new("Used, after the as-of date", Kind::Whole),
        Column {
            heading: "Check".to_owned(),
            kind: Kind::Remark,
            widest: 20.0,
        },
    ];
    let mut table = Table::at(header_row, columns);
    for account in accounts {
        let cells = cells(account, &table);
        table.push(cells);
    }
    table.say_none();
    let mut sum = vec![Cell::from("Sum"), Cell::Empty];
    sum.extend((2..6).map(|column| table.sum(column)));
    if !accounts.is_empty() {
        let total = |of: fn(&Account) -> u64| accounts.iter().map(of).sum::<u64>();
        sum.push(check(
            &table,
            total(|a| a.read),
            total(|a| a.used) + total(|a| a.set_aside),
        ));
    }
    table.total(sum);
    table
}

fn cells(account: &Account, table: &Table) -> Vec<Cell> {
    let Some(source) = &account.source else {
        return vec![account.table.name().into(), "no such table".into()];
    };
    vec![
        account.table.name().into(),
        source.as_str().into(),
        (account.read as f64).into(),
        (account.used as f64).into(),
        (account.set_aside as f64).into(),
        (account.later as f64).into(),
        check(table, account.read, account.used + account.set_aside),
    ]
}

fn check(table: &Table, read: u64, accounted: u64) -> Cell {
    let (all, used, aside) = (table.here(2), table.here(3), table.here(4));
    let formula = format!("IF({all}={used}+{aside},\"adds up\",\"does not add up\")");
    let words = if read == accounted {
        "adds up"
    } else {
        "does not add up"
    };
    Cell::Formula {
        formula,
        result: Outcome::Text(words.to_owned()),
    }
}
