//! Money per acre and ton beside the budget.

use std::fmt::Write as _;

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

fn budget(path: &str) -> Value {
    budget_with(path, &[])
}

fn budget_with(path: &str, more: &[&str]) -> Value {
    let args = [&["budget", path, "--format", "json"], more].concat();
    let (_, out, err) = wearcast(&args);
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

/// By part, by machine and by product group alike, from the same plays, whatever is done before.
#[test]
fn shares_of_the_cost_of_an_acre_add_up_to_it() {
    shares_add_up(&budget_with(SAMPLE, &["--policy", "advised"]));
    shares_add_up(&budget_with("sample-data/fleet", &["--policy", "advised"]));
    let budget = budget(SAMPLE);
    shares_add_up(&budget);
    // No list price is known of these machines: no curve, and not 0.
    assert!(
        list(&budget, "machines")
            .iter()
            .all(|m| m["repair_curve"].is_null())
    );
}

fn shares_add_up(budget: &Value) {
    let per_acre = number(&budget["per_acre"]["expected"]);
    let total = number(&budget["total"]["expected"]);
    let parts = list(budget, "families").iter();
    close(
        parts.map(|f| number(&f["cost_per_acre"]["expected"])).sum(),
        per_acre,
    );
    let machines = list(budget, "machines").iter();
    // Of a machine that is to spread nothing there is no cost of an acre.
    let of_machine = |m: &Value| match &m["cost_per_acre"]["expected"] {
        Value::Null => number(&m["total"]["expected"]),
        per_acre => number(per_acre) * number(&m["planned"]["acres"]),
    };
    close(machines.map(of_machine).sum(), total);
    for (range, amount) in [
        ("cost_per_acre_range", "acres"),
        ("cost_per_ton_range", "tons"),
    ] {
        let products = list(budget, "products").iter();
        let shares = products.map(|p| number(&p[range]["expected"]) * number(&p[amount]));
        close(shares.sum(), total);
    }
}

/// A seal that lasts 1,500 tons, of a machine that spreads 1,000 tons a season.
fn seal() -> Folder {
    let model = "family = \"my-seal\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
                 shape = { median = 25, spread = 1.05 }\n\
                 life50 = { median = 1500, spread = 1.02 }\n\
                 wear_factor = { spread = 1.05 }\n";
    let folder = Folder::empty();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let mut usage = "date,machine,product,acres,tons\n".to_owned();
    for year in 2021..=2026 {
        for day in 1..=25 {
            writeln!(usage, "{year}-04-{day:02},M1,potash,380,38").expect("text");
        }
        writeln!(usage, "{year}-04-26,M1,lime,25,50").expect("text");
    }
    folder
        .write("models/my-seal.toml", model)
        .write("machines.csv", "machine,in_service\nM1,2020-11-01\n")
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nS,my-seal,100,1\n",
        )
        .write("positions.csv", "machine,position,part\nM1,seal,S\n")
        .write(
            "replacements.csv",
            "date,machine,position,reason,down_hours\n2022-04-14,M1,seal,worn,5\n\
             2023-11-20,M1,seal,planned,\n2025-05-20,M1,seal,planned,\n",
        )
        .write(
            "settings.toml",
            "labor_rate = 50\ndown_cost_per_hour = 1000\n",
        )
        .write("usage.csv", usage);
    folder
}

/// It has 1,000 tons behind it, so it is changed; what is put in before a season does not wear in
/// the season before that one.
#[test]
fn what_is_changed_before_a_season_is_new_in_it() {
    let folder = seal();
    let path = folder.path().to_str().expect("a path");
    for season in ["2027", "2028"] {
        let more = [
            "--as-of",
            "2026-11-11",
            "--season",
            season,
            "--policy",
            "advised",
        ];
        let budget = budget_with(path, &more);
        let seal = &list(&budget, "families")[0];
        assert!((number(&seal["planned"]["expected"]) - 1.0).abs() < 1e-9);
        assert!(number(&seal["worn"]["expected"]) < 0.01, "{season}");
    }
}

/// A part changed in the shop was worn by tons as one changed in season is, and not by acres: lime
/// is a 380th of the acres, and a twentieth of the tons.
#[test]
fn a_planned_change_is_charged_to_what_wears_the_part() {
    let folder = seal();
    let path = folder.path().to_str().expect("a path");
    let more = ["--as-of", "2026-11-11", "--policy", "advised"];
    let budget = budget_with(path, &more);
    let of = |group: &str| {
        let mut products = list(&budget, "products").iter();
        number(&products.find(|p| p["group"] == group).expect("it")["cost_per_ton"])
    };
    // Their factors lie within a twentieth of 1.
    let ratio = of("lime") / of("potash");
    assert!((ratio - 1.0).abs() < 0.15, "{ratio}");
}

/// What a change cost is what its own number costs: where the row names none, that is the number taken
/// out, and not the one that the machine came with.
#[test]
fn a_change_that_names_no_part_tells_the_price_of_the_part_that_was_there() {
    let folder = seal();
    folder
        .write(
            "parts.csv",
            "part,family,price\nS,my-seal,\nBETTER,my-seal,\n",
        )
        .write(
            "replacements.csv",
            "date,machine,position,part,reason,parts_cost\n2022-04-14,M1,seal,,worn,80\n\
             2023-11-20,M1,seal,BETTER,upgrade,150\n2025-05-20,M1,seal,,worn,170\n",
        );
    let budget = budget_with(folder.path().to_str().expect("a path"), &[]);
    let line = &list(&budget, "families")[0];
    assert_eq!(line["part"], "BETTER");
    let expected = |key: &str| number(&line[key]["expected"]);
    close(expected("parts_cost"), 160.0 * expected("pieces"));
}

/// One blank cell of the parts list must not blank every machine, product and month beside the total.
#[test]
fn what_is_known_of_a_sum_is_shown_and_marked() {
    let folder = seal();
    folder
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nS,my-seal,100,\n",
        )
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2022-04-14,M1,seal,worn\n",
        );
    let path = folder.path().to_str().expect("a path");
    let (status, out, _) = wearcast(&["budget", path]);
    assert_eq!(status, ExitStatus::Done);
    assert!(out.contains("A figure with + is what is known of it"));
    let lime = out.lines().find(|l| l.trim_start().starts_with("lime"));
    let lime = lime.expect("the product");
    assert_eq!(lime.matches('$').count(), 3, "{lime}");
    assert_eq!(lime.matches(" +").count(), 3, "{lime}");
    // Programs are told that the whole is unknown.
    let budget = budget_with(path, &[]);
    assert!(budget["total"].is_null());
    assert!(
        list(&budget, "products")
            .iter()
            .all(|p| p["cost"].is_null())
    );
    let page = folder.path().join("page.html");
    let page = page.to_str().expect("a path");
    let (status, _, err) = wearcast(&["report", path, "--out", page]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let page = std::fs::read_to_string(page).expect("a page");
    assert!(page.contains("A figure with + is what is known of it"));
    // In every table of sums, and in the pictures beside them.
    for caption in [
        "Parts and labor, by machine",
        "Parts and labor, by month",
        "Expected money by product",
    ] {
        let table = page.split(caption).nth(1).expect("the table");
        let table = table.split("</table>").next().expect("its end");
        assert!(table.contains(" +</td>"), "{caption}: {table}");
    }
    for picture in [
        "Money by machine",
        "Money by month",
        "Wear cost an acre by product",
    ] {
        assert!(page.contains(picture), "{picture}");
    }
    assert!(page.contains("What is drawn is what is known of the money"));
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
    close(number(&past["known_cost"]), cost);
    // Three changes without a cost of parts, two without hours: what it all cost is not known.
    assert_eq!(
        (&past["without_cost"], &past["without_hours"]),
        (&3.into(), &2.into())
    );
    assert!(
        past["cost"].is_null() && past["cost_per_acre"].is_null(),
        "{past}"
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

/// A chain of plain steel broke and one of stainless took its place: the hours lost are those of plain chains.
#[test]
fn lost_hours_are_those_of_the_kind_that_wore_out() {
    let folder = Folder::empty();
    let days = |month: u32| (1..=9).map(move |day| format!("2026-0{month}-0{day},M,lime,100\n"));
    let usage: String = days(4).chain(days(9)).collect();
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    for name in ["plain", "stainless"] {
        let text = format!(
            "family = \"{name}\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\nshape = {{ median = 3.0, spread = 2.0 }}\n\
             life50 = {{ median = 1500, spread = 2.0 }}\n"
        );
        folder.write(&format!("models/{name}.toml"), text);
    }
    folder
        .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
        .write(
            "positions.csv",
            "machine,position,part\nM,left,C1\nM,right,C1\n",
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours\nC1,plain,900,6\nC2,stainless,1500,6\n",
        )
        .write("usage.csv", format!("date,machine,product,tons\n{usage}"))
        .write(
            "replacements.csv",
            "date,machine,position,part,reason,down_hours\n2026-09-05,M,left,C2,broken,7\n",
        )
        .write(
            "plan.csv",
            "month,machine,product,tons\n2027-04,M,lime,900\n2027-09,M,lime,900\n",
        )
        .write(
            "settings.toml",
            "down_cost_per_hour = 100\nseason_starts = \"11-01\"\n",
        );
    let path = folder.path().display().to_string();
    let budget = budget_with(&path, &["--season", "2027"]);
    let down = |family: &str| {
        let mut lines = list(&budget, "families").iter();
        let line = lines.find(|l| l["family"] == family).expect("a line");
        let failures = number(&line["worn"]["expected"]) + number(&line["damage"]["expected"]);
        (line["down_cost"]["expected"].as_f64(), failures)
    };
    let (plain, failures) = down("plain");
    close(plain.expect("known"), 700.0 * failures);
    assert_eq!(down("stainless").0, None);
}
