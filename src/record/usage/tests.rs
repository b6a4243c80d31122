use chrono::Days as After;

use super::*;

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn tons(amount: f64) -> Amounts {
    Amounts {
        tons: Some(amount),
        ..Amounts::default()
    }
}

/// Tons of every product.
fn tons_of(log: &UsageLog) -> Vec<Option<f64>> {
    log.totals().into_iter().map(|[_, tons, _]| tons).collect()
}

fn row(
    date: NaiveDate,
    machine: &'static str,
    product: &'static str,
    amounts: Amounts,
) -> UsageRow<'static> {
    UsageRow {
        date,
        machine,
        product,
        bin: None,
        amounts,
    }
}

#[test]
fn rows_of_one_day_add_up_and_what_none_records_stays_unknown() {
    let first = day("2025-04-01");
    let log: UsageLog = [
        row(first, "M2", "lime", tons(0.1)),
        row(first, "M1", "lime", tons(7.0)),
        row(first, "M2", "lime", tons(0.2)),
        row(first, "M2", "lime", Amounts::default()),
    ]
    .into_iter()
    .collect();
    let rows: Vec<_> = log.iter().collect();
    assert_eq!(rows.len(), 2);
    assert_eq!((rows[0].machine, rows[1].machine), ("M1", "M2"));
    // 0.1 + 0.2 in decimals, which doubles alone do not give.
    assert_eq!(rows[1].amounts, tons(0.3));
    assert_eq!(log.rows(), 4);
}

/// Many rows, of amounts that thousandths hold and such that they do not.
#[test]
fn any_order_of_rows_gives_the_same_log() {
    let rows: Vec<_> = (0..20_000_u64)
        .map(|i| {
            let date = day("2020-01-01") + After::new(i * 7 % 600);
            let amount = if i % 3 == 0 {
                1.0 / (i + 1) as f64
            } else {
                (i % 977) as f64 / 100.0
            };
            let product = ["lime", "urea", "potash"][(i % 5 % 3) as usize];
            row(date, ["A", "B"][(i % 2) as usize], product, tons(amount))
        })
        .collect();
    let log: UsageLog = rows.iter().copied().collect();
    let back: UsageLog = rows.iter().rev().copied().collect();
    let mixed: UsageLog = (0..rows.len())
        .map(|i| rows[i * 7_919 % rows.len()])
        .collect();
    assert!(log.iter().eq(back.iter()) && log.iter().eq(mixed.iter()));
    assert!(log.iter().count() < 6_000);
    // Against sums of the plain numbers, product by product.
    for (product, total) in log.products().iter().zip(tons_of(&log)) {
        let of_product = rows.iter().filter(|r| r.product == product);
        let plain: f64 = of_product.filter_map(|r| r.amounts.tons).sum();
        assert!((total.expect("known") / plain - 1.0).abs() < 1e-12);
    }
}

/// Every amount stands in a list.
#[test]
fn odd_amounts_of_many_rows_all_count() {
    let amount = |i: u32| f64::from(i % 1_021) / 7.0 + 1e-4;
    let date = |i: u32| day("2020-01-01") + After::new(u64::from(i % 1_700));
    let rows = 0..9_000_u32;
    let log: UsageLog = rows
        .clone()
        .map(|i| row(date(i), "A", "lime", tons(amount(i))))
        .collect();
    let mut wanted = std::collections::BTreeMap::<NaiveDate, f64>::new();
    for i in rows {
        *wanted.entry(date(i)).or_default() += amount(i);
    }
    assert_eq!(log.iter().count(), wanted.len());
    for (row, (date, sum)) in log.iter().zip(&wanted) {
        let own = row.amounts.tons.expect("known");
        assert!(
            row.date == *date && (own / sum - 1.0).abs() < 1e-13,
            "{own} {sum}"
        );
    }
}

#[test]
fn a_log_is_seen_as_it_was_known() {
    let (early, late) = (day("2025-04-01"), day("2025-06-01"));
    let written = [
        row(early, "M1", "lime", tons(1.0)),
        row(late, "M1", "lime", tons(2.0)),
    ];
    let log: UsageLog = written.into_iter().collect();
    let read = row(early, "M2", "urea", tons(3.0));
    let stretch = Stretch {
        after: day("2025-03-01"),
        known: late,
    };
    let log = log.with_spread(&[(read, stretch)]);
    assert_eq!(log.machines().collect::<Vec<_>>(), ["M1", "M2"]);
    assert_eq!(log.last_day(), Some(late));
    let known = log.known_on(day("2025-05-31"));
    assert_eq!(known.machines().collect::<Vec<_>>(), ["M1"]);
    assert_eq!(known.last_day(), Some(early));
    assert_eq!(known.last_reading(), None);
    assert_eq!(tons_of(&known), [Some(1.0), None]);
    assert_eq!(tons_of(&log), [Some(3.0), Some(3.0)]);
    assert_eq!(log.of_machines(|m| m == "M2").iter().count(), 1);
    assert_eq!(
        log.of_machine("M2").next().and_then(|d| d.after),
        Some(stretch.after)
    );
}

#[test]
fn equal_rows_are_found_and_marks_tell_them_apart() {
    let mut gather = Gather::default();
    gather.units([1.0; 3]);
    let machine = gather.machine("M1");
    let product = gather.product("lime");
    let pair = gather.pair(None, product);
    let amounts = [f64::NAN, 1.0 / 3.0, 2.5];
    for (number, mark) in [(2, 0), (3, 0), (4, 9), (5, 9), (6, 0)] {
        gather.push(number, 738_000, (machine, pair), amounts, mark);
    }
    gather.push(7, 738_001, (machine, pair), amounts, 0);
    let (log, twins) = UsageLog::new(gather);
    assert_eq!(twins, [(3, 2), (5, 4), (6, 2)]);
    assert_eq!(log.iter().count(), 2);
    assert_eq!(log.iter().next().and_then(|r| r.amounts.hours), Some(12.5));
}

/// More rows than are given away together, all at once, in pieces, and one by one; every tenth is
/// entered twice.
#[test]
fn rows_that_come_together_are_those_that_come_one_by_one() {
    let count = 700_000_u32;
    let names: Vec<String> = (0..7).map(|m| format!("M{m}")).collect();
    let products: Vec<String> = (0..3).map(|p| format!("P{p}")).collect();
    let begin = || {
        let mut gather = Gather::default();
        gather.units([1.0; 3]);
        for name in &names {
            gather.machine(name);
        }
        for product in &products {
            let product = gather.product(product);
            gather.pair(None, product);
        }
        gather
    };
    let of = |f: fn(u32) -> u32| -> Vec<u32> { (0..count).map(|i| f(i - i % 10 / 9)).collect() };
    let (machines, pairs) = (of(|i| i % 7), of(|i| i / 7 % 3));
    let days = of(|i| 738_000 + i / 2_000);
    let codes = [
        of(|i| i % 900 * 100),
        of(|i| i % 977 * 10),
        vec![u32::MAX; count as usize],
    ];
    let rows: Vec<u32> = (0..count).collect();
    let columns = UseColumns {
        days: &days,
        pairs: &pairs,
        rows: &rows,
        codes: codes.each_ref().map(Vec::as_slice),
    };
    let mut together = begin();
    together.extend_plain(&machines, &columns);
    let mut one_by_one = begin();
    for i in 0..count as usize {
        let row_codes = codes.each_ref().map(|column| column[i]);
        one_by_one.push_plain(rows[i], days[i], (machines[i], pairs[i]), row_codes);
    }
    // Some pieces wait for others, and some are given away as they come.
    let mut in_pieces = begin();
    let mut from = 0;
    for len in [5, 1_000, 0, 200_000, 150_000, 1, count as usize] {
        let to = columns.days.len().min(from + len);
        in_pieces.extend_plain(&machines[from..to], &columns.part(from, to));
        from = to;
    }
    let (log, twins) = UsageLog::new(together);
    let (other, other_twins) = UsageLog::new(one_by_one);
    let (third, third_twins) = UsageLog::new(in_pieces);
    assert!(log.iter().eq(third.iter()) && twins == third_twins);
    assert_eq!((log.rows(), twins.len()), (u64::from(count), 70_000));
    assert!(
        twins
            .iter()
            .all(|(row, first)| *row == first + 1 && row % 10 == 9)
    );
    assert_eq!(twins, other_twins);
    assert!(log.iter().eq(other.iter()));
    let acres: u64 = codes[0].iter().map(|code| u64::from(*code)).sum();
    let total: f64 = log
        .totals()
        .into_iter()
        .filter_map(|[acres, ..]| acres)
        .sum();
    assert!((total / (acres as f64 / 1_000.0) - 1.0).abs() < 1e-12);
}

/// The first file's units hold for the log: amounts in others go the way of odd ones.
#[test]
fn rows_that_come_together_may_be_in_units_of_their_own() {
    let log = |together: bool| {
        let mut gather = Gather::default();
        gather.units([1.0; 3]);
        let machine = gather.machine("M1");
        let product = gather.product("lime");
        let pair = gather.pair(None, product);
        gather.push(1, 738_000, (machine, pair), [1.0, 2.0, 3.0], 0);
        gather.units([2.0, 0.5, 1.0]);
        let codes = [[5_000], [1_250], [u32::MAX]];
        let columns = UseColumns {
            days: &[738_001],
            pairs: &[pair],
            rows: &[2],
            codes: codes.each_ref().map(<[u32; 1]>::as_slice),
        };
        if together {
            gather.extend_plain(&[machine], &columns);
        } else {
            gather.push(2, 738_001, (machine, pair), [5.0, 1.25, f64::NAN], 0);
        }
        UsageLog::new(gather).0
    };
    let log_together = log(true);
    assert!(log_together.iter().eq(log(false).iter()));
    let last = log_together.iter().last().expect("two days").amounts;
    assert_eq!(
        (last.acres, last.tons, last.hours),
        (Some(10.0), Some(0.625), None)
    );
}
