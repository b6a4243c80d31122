//! Money per acre and ton beside the budget.

use serde_json::Value;

use crate::cli::wearcast;
use crate::read::Folder;

fn budget(path: &str) -> Value {
    let (_, out, err) = wearcast(&["budget", path, "--format", "json"]);
    serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"))
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn list<'a>(of: &'a Value, key: &str) -> &'a [Value] {
    of[key].as_array().expect("a list")
}

fn close(got: f64, wanted: f64) {
    assert!((got / wanted - 1.0).abs() < 1e-9, "{got} is not {wanted}");
}

const SAMPLE: &str = "sample-data/owner";

/// By part, by machine and by product group alike, from the same plays.
#[test]
fn shares_of_the_cost_of_an_acre_add_up_to_it() {
    let budget = budget(SAMPLE);
    let per_acre = number(&budget["per_acre"]["expected"]);
    let total = number(&budget["total"]["expected"]);
    let parts = list(&budget, "families").iter();
    close(
        parts.map(|f| number(&f["cost_per_acre"]["expected"])).sum(),
        per_acre,
    );
    let machines = list(&budget, "machines").iter();
    let of_machine =
        |m: &Value| number(&m["cost_per_acre"]["expected"]) * number(&m["planned"]["acres"]);
    close(machines.map(of_machine).sum(), total);
    for (range, amount) in [
        ("cost_per_acre_range", "acres"),
        ("cost_per_ton_range", "tons"),
    ] {
        let products = list(&budget, "products").iter();
        let shares = products.map(|p| number(&p[range]["expected"]) * number(&p[amount]));
        close(shares.sum(), total);
    }
    // No list price is known of these machines: no curve, and not 0.
    assert!(
        list(&budget, "machines")
            .iter()
            .all(|m| m["repair_curve"].is_null())
    );
}

/// Summed apart from the table itself: season 2026 of the sample, at 130 an hour.
#[test]
fn what_the_last_season_cost_is_what_is_written_down() {
    let text = std::fs::read_to_string("sample-data/owner/replacements.csv").expect("a table");
    let rows = text
        .lines()
        .skip(1)
        .map(|l| l.split(',').collect::<Vec<_>>());
    let season = rows.filter(|r| ("2025-11-01".."2026-11-01").contains(&r[0]));
    let (mut changes, mut cost) = (0, 0.0);
    for row in season {
        let cell = |i: usize| row[i].parse::<f64>().unwrap_or(0.0);
        changes += 1;
        cost += cell(10) + 130.0 * cell(9);
    }
    let past = &budget(SAMPLE)["past"];
    assert_eq!(
        (&past["season"], &past["changes"]),
        (&2026.into(), &changes.into())
    );
    close(number(&past["cost"]), cost);
    close(
        number(&past["cost_per_acre"]) * number(&past["acres"]),
        cost,
    );
}

/// ASABE D497, fertilizer spreader: 0.63 of list price times (thousand hours)^1.3, from the hours so
/// far to those of the season. Factors from memory.
#[test]
fn the_published_repair_curve_needs_a_list_price_and_all_hours() {
    let folder = Folder::empty();
    for entry in std::fs::read_dir(SAMPLE).expect("a folder") {
        let from = entry.expect("a file").path();
        let name = from.file_name().expect("a name");
        std::fs::copy(&from, folder.path().join(name)).expect("copied");
    }
    folder.write(
        "machines.csv",
        "machine,in_service,records_from,site,List price\n\
         north rig,2021-11-01,,home yard,75000\n\
         creek rig,2016-03-21,2022-03-07,creek yard,60000\n\
         twin bin,2022-03-14,,home yard,\n",
    );
    let text = std::fs::read_to_string("sample-data/owner/usage.csv").expect("a table");
    let rows = text.lines().map(|l| l.split(',').collect::<Vec<_>>());
    let hours: f64 = rows
        .filter(|r| r[1] == "north rig")
        .map(|r| r[5].parse::<f64>().expect("hours"))
        .sum();
    let budget = budget(folder.path().to_str().expect("a path"));
    let of = |name: &str| {
        let mut machines = list(&budget, "machines").iter();
        machines.find(|m| m["machine"] == name).expect("a machine")
    };
    let north = of("north rig");
    let share = |h: f64| 0.63 * (h / 1_000.0).powf(1.3);
    let ahead = number(&north["planned"]["hours"]);
    let wanted = 75_000.0 * (share(hours + ahead) - share(hours));
    close(number(&north["repair_curve"]), wanted);
    // Its hours before the records begin are unknown; the other has no price.
    assert!(of("creek rig")["repair_curve"].is_null());
    assert!(of("twin bin")["repair_curve"].is_null());
}
