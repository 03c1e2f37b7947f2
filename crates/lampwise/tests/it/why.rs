use crate::support::{PRESS, command, file, finish, lampwise, press};

/// The part of an answer that no probability stands in.
fn facts(out: &str) -> &str {
    out.split("Where it stands").next().unwrap_or_default()
}

#[test]
fn the_fact_comes_first() {
    let out = lampwise(&[
        "why",
        &press(),
        "--lamps",
        "X2 off, X3 off",
        "--did",
        "pressed start",
        "--saw",
        "ram up",
        "--complaint",
        "it does not start",
    ])
    .good();
    insta::assert_snapshot!(facts(&out));
}

#[test]
fn the_ranking_holds_nothing_wrong_and_not_in_this_file() {
    let out = lampwise(&["why", &press(), "--lamps", "X2 on, X3 off"]).good();
    for part in [
        "Where it stands",
        "What it can be",
        "nothing is wrong: it waits for you",
        "something that is not in this machine file",
        "three or more at once",
        "lockout rules",
    ] {
        assert!(out.contains(part), "{part} is missing in\n{out}");
    }
}

#[test]
fn no_line_is_wider_than_80_columns() {
    let out = lampwise(&["why", &press(), "--lamps", "rest off", "--all"]).good();
    for line in out.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn a_dark_sensor_explains_a_dark_lamp_that_stays_dark_when_its_led_is_looked_at() {
    let with = |more: &[&str]| {
        let press = press();
        let mut arguments =
            vec!["why", &press, "--json", "--lamps", "X2 off", "--saw", "ram up", "--did", "pressed start"];
        arguments.extend(more);
        let answer: serde_json::Value = serde_json::from_str(&lampwise(&arguments).good()).unwrap();
        let causes = answer["answer"]["causes"].as_array().unwrap().clone();
        let members = causes.iter().flat_map(|cause| cause["members"].as_array().unwrap());
        members.filter(|one| one["key"] == "X2/dead").map(|one| one["probability"].as_f64().unwrap()).sum::<f64>()
    };
    let (before, off, on) = (with(&[]), with(&["--found", "X2 own led: off"]), with(&["--found", "X2 own led: on"]));
    assert!(off > before && before > on, "{off} {before} {on}");
}

#[test]
fn a_later_moment_changes_the_answer() {
    let press = press();
    let first = ["why", press.as_str(), "--lamps", "X2 off, X3 off", "--did", "pressed start"];
    let one = lampwise(&first).good();
    let mut later = first.to_vec();
    later.extend(["--then", "power cycled", "--lamps", "X2 on"]);
    let two = lampwise(&later).good();
    assert!(two.contains("  then       power cycled"), "{two}");
    assert_ne!(one, two);
}

#[test]
fn a_remedy_that_was_tried_is_understood_by_its_key() {
    let press = press();
    let ask = |remedy| lampwise(&["why", &press, "--lamps", "X2 off", "--tried", remedy, "--lamps", "X2 on"]);
    // The keys are the library's; a wrong one is told with those of its device.
    let err = ask("X2/polish").bad(2);
    let key = err.split('`').find(|part| part.starts_with("X2/") && *part != "X2/polish").expect("a neighbour");
    assert!(ask(key).good().contains("  tried      "));
}

#[test]
fn a_machine_of_unknown_revision_is_looked_at_as_each() {
    let out = lampwise(&["describe", "demo:parts-washer", "--serial", "5000", "--json"]).good();
    let about: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert!(about["numbers"]["open_choices"].as_u64().unwrap() > 0, "{about}");
}

#[test]
fn with_every_lamp_dark_the_supply_of_the_controller_is_to_blame_and_with_power_lit_it_is_not() {
    let text = std::fs::read_to_string(press()).unwrap();
    let fed = text.replace("name = \"Press\"\n", "name = \"Press\"\nsupply = \"F1\"\n")
        + "[supplies]\ndc24 = \"power-supply-24v\"\nF1 = { is = \"fuse\", from = \"dc24\" }\n\
           [lamps.status]\nPOWER = \"powered\"\n";
    let fed = file("fed-press.toml", fed);
    let supplies = |lamps: &str| -> f64 {
        let out = lampwise(&["why", &fed, "--lamps", lamps, "--complaint", "wont-start", "--json"]).good();
        let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
        let causes = answer["answer"]["causes"].as_array().unwrap();
        let members = causes.iter().flat_map(|cause| cause["members"].as_array().unwrap());
        let supplies =
            members.filter(|one| ["dc24/", "F1/"].iter().any(|name| one["key"].as_str().unwrap().starts_with(name)));
        supplies.map(|one| one["probability"].as_f64().unwrap()).sum()
    };
    let (dark, lit) = (supplies("all dark"), supplies("X2 POWER lit, rest dark"));
    assert!(dark > 0.9 && lit < 0.1, "{dark} {lit}");
}

/// Sums of probabilities of the deviations whose keys end with one of these.
fn weight(document: &serde_json::Value, ends: &[&str]) -> f64 {
    let causes = document["answer"]["causes"].as_array().unwrap();
    let members = causes.iter().flat_map(|cause| cause["members"].as_array().unwrap());
    let wanted = members.filter(|one| ends.iter().any(|end| one["key"].as_str().unwrap().ends_with(end)));
    wanted.map(|one| one["probability"].as_f64().unwrap()).sum()
}

#[test]
fn a_machine_that_was_moved_has_rather_loose_cables_and_switches_out_of_adjustment() {
    let ask = |recently: &[&str]| -> serde_json::Value {
        let press = press();
        let mut arguments =
            vec!["why", &press, "--lamps", "X2 off", "--saw", "ram up", "--complaint", "wont-start", "--json"];
        recently.iter().for_each(|event| arguments.extend(["--recently", event]));
        serde_json::from_str(&lampwise(&arguments).good()).unwrap()
    };
    let (usual, moved) = (ask(&[]), ask(&["moved"]));
    let loose = ["X2 cable/broken", "X2 cable/loose-plug", "X2 terminal-row/loose", "X2/out-of-adjustment"];
    assert!(weight(&moved, &loose) > weight(&usual, &loose), "{moved}");
    assert!(weight(&moved, &["X2/dead"]) < weight(&usual, &["X2/dead"]), "{moved}");
    assert_eq!(moved["recently"], serde_json::json!(["moved"]));
    assert_eq!(ask(&["power cut", "it was moved"])["recently"], serde_json::json!(["moved", "power_cut"]));
}

#[test]
fn after_a_power_cut_the_reset_was_rather_forgotten() {
    let text = std::fs::read_to_string(press()).unwrap();
    let text = text.replace("needs = [\"ram = up\"]", "needs = [\"ram = up\", \"armed\"]")
        + "[latches]\narmed = { set = \"reset = pressed\" }\n[routines.press]\ndo = [\"press reset\", \"press start\"]\n";
    let text = text.replace("X3 =", "X4 = { lit = \"reset = pressed\" }\nX3 =");
    let machine = file("press-with-reset.toml", text);
    let ask = |recently: &str| -> serde_json::Value {
        let arguments = ["why", &machine, "--complaint", "wont-start", "--json", "--recently", recently];
        serde_json::from_str(&lampwise(&arguments).good()).unwrap()
    };
    let (usual, cut) = (ask(""), ask("power cut"));
    assert!(weight(&cut, &["press reset"]) > 1.5 * weight(&usual, &["press reset"]), "{cut}");
}

#[test]
fn an_unknown_event_is_told_with_the_known_ones() {
    let err = lampwise(&["why", &press(), "--recently", "moved, cursed"]).bad(2);
    assert!(err.contains("`cursed` is no event that is known"), "{err}");
    assert!(err.contains("`moved`, `cleaned`, `repaired` and `power cut`"), "{err}");
}

/// The press in two revisions: only the newer has a hood and its lamp, only the older the lamp X5.
fn press_in_two_revisions() -> String {
    let text = std::fs::read_to_string(press()).unwrap();
    let text = text.replace("name = \"Press\"\n", "name = \"Press\"\nrevision = \"old\"\n")
        + "[routines.press]\ndo = [\"press start\"]\n[revisions.new]\nremove = [\"inputs.X5\"]\n\
           [revisions.new.change.inputs]\nX7 = { lit = \"hood = shut\" }\n\
           [revisions.new.change.routines.press]\ndo = [\"hood shut\", \"press start\"]\n\
           [revisions.new.change.charts.press]\nneeds = [\"ram = up\", \"hood = shut\"]\n";
    let text = text.replace("X3 =", "X5 = { lit = \"tray = shut\" }\nX3 =");
    file("press-in-two-revisions.toml", text)
}

fn revision_weight(arguments: &[&str], revision: &str) -> f64 {
    let machine = press_in_two_revisions();
    let mut all = vec!["why", &machine, "--json"];
    all.extend(arguments);
    let document: serde_json::Value = serde_json::from_str(&lampwise(&all).good()).unwrap();
    let open = document["answer"]["open"].as_array().unwrap();
    let of = |one: &&serde_json::Value| one["choices"].to_string().contains(&format!("revision {revision}"));
    open.iter().filter(of).map(|one| one["probability"].as_f64().unwrap()).sum()
}

#[test]
fn what_only_another_revision_has_is_read_and_tells_the_revision() {
    let usual = revision_weight(&["--lamps", "X2 on"], "new");
    assert!((0.3..0.7).contains(&usual), "{usual}");
    for report in [
        &["--lamps", "X2 X7 on"][..],
        &["--saw", "hood shut"],
        &["--did", "shut the hood, pressed start"],
        &["--found", "hood: shut"],
    ] {
        let weight = revision_weight(report, "new");
        assert!(weight > 0.9, "{report:?}: {weight}");
    }
    assert!(revision_weight(&["--lamps", "X2 X5 on"], "old") > 0.9);
    let mixed = revision_weight(&["--lamps", "X7 on", "--saw", "tray shut"], "new");
    assert!((0.01..0.99).contains(&mixed), "each has one thing that the other has not: {mixed}");
}

#[test]
fn what_no_revision_has_is_told_with_the_names_of_the_first() {
    let err = lampwise(&["why", &press_in_two_revisions(), "--lamps", "X7 X99 on"]).bad(2);
    assert!(err.contains("X99"), "{err}");
}

#[test]
fn all_others_dark_speaks_of_the_lamps_that_each_revision_has() {
    // The hood's lamp is lit whenever the newer revision can start, so that "all others dark" speaks against it.
    let deeds = ["--did", "pressed start", "--complaint", "stops midway"];
    let weight = |lamps: &str| revision_weight(&[&["--lamps", lamps][..], &deeds].concat(), "new");
    assert!(weight("X5 on, rest off") < weight("X5 on"), "{} {}", weight("X5 on, rest off"), weight("X5 on"));
}

#[test]
fn a_label_is_not_said_twice_and_members_do_not_repeat_the_headline() {
    let out = lampwise(&["why", &press(), "--lamps", "X2 off, X3 off", "--saw", "ram up", "--all"]).good();
    assert!(out.contains("X2 (ram is up) stays dark"), "{out}");
    assert!(!out.contains("(ram is up) (X2)") && !out.contains("X2 (ram is up): "), "{out}");
    assert!(!out.contains("  (ram"), "an output without a lamp has a name too\n{out}");
}

#[test]
fn what_nothing_reported_shows_explains_nothing() {
    let text = std::fs::read_to_string(press()).unwrap()
        + "[supplies]\ndc24 = \"power-supply-24v\"\nwater = { is = \"water\", shut_by_hand = \"1 in 100\" }\n";
    let machine = file("press-with-water.toml", text);
    let out = lampwise(&["why", &machine, "--lamps", "all off", "--complaint", "wont-start", "--json"]).good();
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    let cause = |key: &str| {
        let causes = answer["answer"]["causes"].as_array().unwrap();
        let has = |cause: &&serde_json::Value| cause["members"].to_string().contains(key);
        causes.iter().find(has).unwrap()["reason"].as_str().unwrap().to_owned()
    };
    assert_eq!(cause("lapse/water shut"), "nothing reported shows it");
    assert!(cause("dc24/dead").starts_with("explains X2 dark"), "{}", cause("dc24/dead"));
}

#[test]
fn the_fact_is_about_the_place_where_it_most_probably_stands() {
    let out = lampwise(&["why", &press(), "--found", "X2 own led: off", "--json"]).good();
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    let (fact, place) = (&answer["answer"]["fact"], &answer["answer"]["standing"][0]["steps"]);
    let starts = fact["is_start"].as_bool().unwrap();
    assert!(place.as_array().unwrap().iter().any(|step| *step == fact["of"] || starts && step == "ready"), "{out}");
}

#[test]
fn what_was_not_reported_is_probably_missing_and_a_released_stop_button_is_no_passing_press() {
    let text = PRESS.replace("needs = [\"ram = up\"]", "needs = [\"ram = up\", \"stop = released\"]");
    let machine = file("press-with-stop.toml", text.replace("X3 =", "X4 = { lit = \"stop = released\" }\nX3 ="));
    let ask = |lamps: &str| lampwise(&["why", &machine, "--lamps", lamps, "--complaint", "wont-start"]).good();
    let out = ask("X2 on, rest off");
    assert!(out.contains("✗ X4 lit (stop is released)\n") && out.contains("Of these X4 is dark."), "{out}");
    assert!(ask("X2 X4 on").contains("Of these nothing is missing."));
    assert!(ask("X4 on").contains("Of these nothing is missing, as far as is known."));
    let out = lampwise(&["why", &machine, "--found", "X2 own led: off", "--complaint", "wont-start"]).good();
    assert!(out.contains("X2 is not reported, but probably dark"), "{out}");
}

#[test]
fn where_it_stands_adds_up_to_the_whole() {
    let out = lampwise(&["why", &press()]).good();
    assert!(out.contains("%  elsewhere, or something that is not in this machine file"), "{out}");
}

#[test]
fn stopping_short_of_either_end_are_two_causes_with_two_names() {
    let out = lampwise(&["why", &press(), "--lamps", "X2 off, X3 off", "--all"]).good();
    for position in ["up", "down"] {
        assert!(out.contains(&format!("short of its end position ({position})")), "{out}");
    }
}

#[test]
fn the_same_reports_give_the_same_answer() {
    let ask = || lampwise(&["why", &press(), "--lamps", "X2 off", "--json"]).good();
    assert_eq!(ask(), ask());
}

#[test]
fn colour_only_where_it_is_wanted() {
    let press = press();
    let arguments = ["why", press.as_str(), "--lamps", "X2 on"];
    assert!(!lampwise(&arguments).good().contains('\u{1b}'));
    let mut always = arguments.to_vec();
    always.extend(["--color", "always"]);
    assert!(lampwise(&always).good().contains('\u{1b}'));
    let forced = finish(command(&arguments).env("CLICOLOR_FORCE", "1").env("NO_COLOR", "1").output().unwrap());
    assert!(!forced.good().contains('\u{1b}'));
}

#[test]
fn more_than_two_at_once_are_thought_of_where_somebody_says_so() {
    let reported = ["--lamps", "X3 X11-X13 on, X14 off, rest off", "--saw", "door open, tank low, tray full"];
    let ask = |more: &[&str]| {
        let begin = ["why", "demo:jar-filler", "--complaint", "wont-start", "--did", "press start"];
        lampwise(&[&begin[..], &reported[..], more].concat())
    };
    let two = ask(&[]).good();
    assert!(two.contains("three or more at once") && !two.contains("all at once"), "{two}");
    let three = ask(&["--at-once", "3"]).good().split_whitespace().collect::<Vec<_>>().join(" ");
    for part in ["up to 3 things that are wrong", "all at once: ", "sets that the reports speak for most"] {
        assert!(three.contains(part), "{part} is missing in\n{three}");
    }
    let document: serde_json::Value = serde_json::from_str(&ask(&["--at-once", "3", "--json"]).good()).unwrap();
    assert_eq!(document["answer"]["together"][0]["words"].as_array().map(Vec::len), Some(3));
    assert!(document["answer"]["larger_sets"].as_u64().is_some_and(|sets| sets > 100));
    let wrong = ask(&["--at-once", "9"]).bad(2);
    assert!(wrong.contains("a number from 2 to 5"), "{wrong}");
}
