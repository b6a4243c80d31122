//! Maximum likelihood alone: what records without a prior cannot tell stays unknown, and is said in
//! words that need no statistics.

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

/// A bare table of one family `fin`, of that distribution, fitted without priors.
fn fit(distribution: &str, table: &str) -> Value {
    of_files(written(distribution, table))
}

fn of_files((lives, models): ((Folder, String), String)) -> Value {
    let (status, out, err) = wearcast(&[
        "fit",
        "--lives",
        &lives.1,
        "--models",
        &models,
        "--no-priors",
        "--format",
        "json",
    ]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    serde_json::from_str(&out).expect("JSON")
}

/// The table and a folder with a model file, written; the folder lives as long as what is returned.
fn written(distribution: &str, table: &str) -> ((Folder, String), String) {
    with_model(&format!("distribution = \"{distribution}\"\n"), table)
}

/// The same with other lines in the model file.
fn with_model(more: &str, table: &str) -> ((Folder, String), String) {
    let folder = Folder::empty();
    let model = format!("family = \"fin\"\nmeasure = \"tons\"\ncounted = \"each\"\n{more}");
    folder.write("fin.toml", model).write("t.csv", table);
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (lives, models) = (path("t.csv"), folder.path().display().to_string());
    ((folder, lives), models)
}

/// What is left of a part of 500.
fn left_of(
    ((folder, lives), models): &((Folder, String), String),
    options: &[&str],
) -> (ExitStatus, String, String) {
    folder.write("ages.csv", "name,family,age\nleft,fin,500\n");
    let ages = folder.path().join("ages.csv").display().to_string();
    let args = [
        "remaining",
        "--lives",
        lives,
        "--ages",
        &ages,
        "--models",
        models,
    ];
    wearcast(&[&args[..], options].concat())
}

fn notes(document: &Value) -> String {
    document["notes"].to_string()
}

#[test]
fn a_product_that_only_running_parts_have_seen_is_said_to_be_unknown() {
    let table = "family,life,ended,use_lime,use_urea\n\
                 fin,1000,worn,1000,0\nfin,1200,worn,1200,0\nfin,1500,worn,1500,0\n\
                 fin,800,running,500,300\nfin,900,running,500,400\n";
    let fit = fit("weibull", table);
    let factor = &fit["families"][0]["wear_factors"][0];
    assert!(factor["estimate"].is_null(), "{factor}");
    let said = "no part that wore out has seen urea";
    assert!(notes(&fit).contains(said), "{}", notes(&fit));
    assert!(notes(&fit).contains("taken to wear like lime"));
}

#[test]
fn products_that_always_come_in_the_same_proportions_are_not_told_apart() {
    let table = "family,life,ended,use_lime,use_dap,use_urea\n\
                 fin,1000,worn,500,300,200\nfin,1200,worn,900,180,120\n\
                 fin,1500,worn,300,720,480\nfin,1600,worn,1000,360,240\n\
                 fin,800,running,640,96,64\n";
    let fit = fit("weibull", table);
    let family = &fit["families"][0];
    for factor in family["wear_factors"].as_array().expect("factors") {
        assert!(factor["estimate"].is_null(), "{factor}");
        assert!(factor["p_value"].is_null(), "{factor}");
    }
    // Life under lime alone is told: lives differ in how much of it they saw.
    assert!(family["life50"]["estimate"].is_number());
    let said = "cannot tell the wear of dap, urea apart";
    assert!(notes(&fit).contains(said), "{}", notes(&fit));
}

#[test]
fn life_under_a_product_that_never_came_alone_is_unknown_and_the_shape_is_not() {
    let table = "family,life,ended,use_lime,use_dap\n\
                 fin,1000,worn,800,200\nfin,1200,worn,960,240\nfin,1500,worn,1200,300\n\
                 fin,800,running,640,160\n";
    let fit = fit("weibull", table);
    let family = &fit["families"][0];
    assert!(family["shape"]["estimate"].is_number());
    for life in ["scale", "life10", "life50", "mean_life"] {
        assert!(family[life].is_null(), "{life}: {}", family[life]);
    }
    let said = "cannot tell the wear of lime, dap apart";
    assert!(notes(&fit).contains(said), "{}", notes(&fit));
}

#[test]
fn parts_that_were_all_found_worn_out_set_no_lower_limit_on_life() {
    for distribution in ["weibull", "lognormal", "exponential", "best"] {
        for rows in [
            "fin,1000,worn,0\nfin,1200,worn,0\n",
            "fin,1000,worn,0\nfin,9000,worn,0\n",
        ] {
            let table = format!("family,life,ended,low\n{rows}");
            let fit = fit(distribution, &table);
            let family = &fit["families"][0];
            for key in ["scale", "life10", "life50", "mean_life"] {
                assert!(
                    family[key].is_null(),
                    "{distribution} {key}: {}",
                    family[key]
                );
            }
            assert!(notes(&fit).contains("the records alone give no estimate"));
        }
    }
}

/// Two wear-outs and a part that goes on: of some draws hardly any part ever wears out, and the mean of all is that
/// of a few. It was 1e3 or 1e120 by the seed.
#[test]
fn a_mean_that_a_few_draws_make_is_not_told() {
    let files = written(
        "weibull",
        "family,life,ended\nfin,1000,worn\nfin,1400,worn\nfin,1350,running\n",
    );
    let of = |form| left_of(&files, &["--no-priors", "--format", form]);
    let (status, out, err) = of("json");
    assert_eq!(status, ExitStatus::Done, "{err}");
    let report: Value = serde_json::from_str(&out).expect("JSON");
    let left = &report["parts"][0]["remaining"];
    assert!(
        left["expected"].is_null() && left["p50"].is_number(),
        "{left}"
    );
    assert!(notes(&report).contains("go by `p50`"));
    let (_, csv, _) = of("csv");
    let row = csv.lines().nth(1).expect("a part");
    assert!(row.contains("500,,"), "{row}");
}

/// Of three wear-outs the corrected criterion is there for the exponential alone: it has a parameter fewer. Alike
/// as they are, age matters (likelihood-ratio p 0.0004).
#[test]
fn too_few_wear_outs_choose_no_distribution() {
    let fit = fit(
        "best",
        "family,life,ended\nfin,900,worn\nfin,1000,worn\nfin,1100,worn\n",
    );
    let family = &fit["families"][0];
    assert_eq!(family["distribution"], "weibull");
    assert!(notes(&fit).contains("too few wear-outs to choose a distribution by"));
    assert!(
        family["goodness"]["age_matters_p"]
            .as_f64()
            .expect("a chance")
            < 0.001
    );
    for tried in family["goodness"]["distributions"]
        .as_array()
        .expect("a list")
    {
        assert!(tried["weight"].is_null(), "{tried}");
    }
}

/// One part good at 1,000 and a prior of Weibull shape 3: a lognormal life as steep has sigma = pi / sqrt(6) / 3,
/// and lasts 1,000 with a chance of 0.1 where its median is 1,000 exp(-1.2816 sigma); by hand.
#[test]
fn the_prior_of_a_lognormal_life_is_as_steep_in_the_bound_as_in_the_draws() {
    let more = "distribution = \"lognormal\"\n[prior]\nshape = { median = 3.0, spread = 1.5 }\n";
    let fit = of_files(with_model(more, "family,life,ended\nfin,1000,running\n"));
    let bound = fit["families"][0]["life50_at_least"].as_f64();
    let sigma = std::f64::consts::PI / 6.0_f64.sqrt() / 3.0;
    let wanted = 1_000.0 * (-1.281_551_565_5 * sigma).exp();
    assert!((bound.expect("a bound") / wanted - 1.0).abs() < 1e-9);
}

#[test]
fn nor_is_there_a_remaining_life_from_them() {
    let files = written(
        "weibull",
        "family,life,ended,low\nfin,1000,worn,0\nfin,1200,worn,0\n",
    );
    let (status, _, err) = left_of(&files, &["--no-priors"]);
    assert_eq!(status, ExitStatus::TooThin, "{err}");
    // A prior, weak as it is, gives an answer.
    assert_eq!(left_of(&files, &[]).0, ExitStatus::Done);
}

#[test]
fn one_part_worn_out_and_one_good_at_the_same_use_agree_with_any_shape() {
    let table = "family,life,ended,low\nfin,1000,worn,0\nfin,1000,running,\n";
    let fit = fit("weibull", table);
    let family = &fit["families"][0];
    assert!(family["shape"].is_null() && family["life50"].is_null());
    // An exponential life explains them as well: age is not shown to matter.
    let age_matters_p = family["goodness"]["age_matters_p"].as_f64();
    assert!(age_matters_p.is_some_and(|p| 0.99 < p), "{age_matters_p:?}");
    assert!(notes(&fit).contains("any shape"), "{}", notes(&fit));
}

#[test]
fn no_note_names_a_parameter_by_its_number_or_the_way_of_drawing() {
    let tables = [
        "life,ended,low\n1000,worn,0\n1000,running,\n",
        "life,ended,low\n1000,worn,0\n1000,worn,0\n3000,running,\n",
        "life,ended,low\n1000,worn,0\n1200,worn,0\n300,running,\n",
    ];
    for table in tables {
        for distribution in ["weibull", "lognormal", "exponential"] {
            let table = table
                .replace("life,", "family,life,")
                .replace("\n1", "\nfin,1");
            let table = table.replace("\n3", "\nfin,3");
            let notes = notes(&fit(distribution, &table));
            for word in ["parameter", "Markov", "drew", "converge", "draws"] {
                assert!(!notes.contains(word), "{notes}");
            }
        }
    }
}

/// By hand: an exponential life of 4 wear-outs has a log life of variance 1 / 4, and each of them adds 1
/// to its information: three times 4 more make it 16, and the interval half as wide. Profiles are a little
/// wider than that.
#[test]
fn how_many_wear_outs_more_halve_an_interval_is_told_without_a_prior_too() {
    let table = "family,life,ended\nfin,900,worn\nfin,1100,worn\nfin,1000,worn\nfin,1200,worn\n";
    let fit = fit("exponential", table);
    let more = fit["families"][0]["wear_outs_to_halve"].as_f64();
    assert!(more.is_some_and(|n| (12.0..=13.0).contains(&n)), "{more:?}");
}
