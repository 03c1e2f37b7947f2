//! The commands of `lampwise records`, and a diagnosis of a machine that is kept there.

use crate::json::valid;
use crate::support::{file, lampwise};
use serde_json::Value;
use std::path::Path;

/// A file of its own that is not there yet.
pub fn place(name: &str) -> String {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("records");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(format!("{name}-{}.db", std::process::id()));
    for end in ["", "-wal", "-shm", ".copy"] {
        _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    path.display().to_string()
}

/// A short invented history.
fn history(name: &str) -> String {
    let path = place(name);
    lampwise(&["records", "demo", &path, "--calls", "60", "--seed", "4", "--until", "2026-11-26"]).good();
    path
}

fn document(arguments: &[&str]) -> Value {
    let arguments: Vec<&str> = ["records"].into_iter().chain(arguments.iter().copied()).chain(["--json"]).collect();
    valid("records", &lampwise(&arguments).good())
}

#[test]
fn every_command_prints_what_the_schema_says() {
    let path = history("schema");
    let of = |arguments: &[&str]| {
        let (first, rest) = arguments.split_first().unwrap();
        document(&[&[*first, path.as_str()], rest].concat())
    };
    assert_eq!(of(&["machines"])["types"].as_array().unwrap().len(), 4);
    assert!(of(&["machines", "--of", "jar-filler"])["machines"].as_array().unwrap().len() > 5);
    let calls = of(&["calls", "--most", "7"]);
    assert_eq!((calls["count"].as_u64(), calls["calls"].as_array().unwrap().len()), (Some(60), 7));
    assert_eq!(of(&["calls", "--open"])["count"], 3);
    let call = of(&["call", "1"]);
    assert_eq!(call["call"]["state"], "closed");
    assert!(call["text"].as_str().unwrap().starts_with("lampwise call 1\n"));
    assert!(!of(&["search", "jar", "fill"])["hits"].as_array().unwrap().is_empty());
    assert!(of(&["rates", "--all"])["faults"].as_array().unwrap().len() > 100);
    let figures = of(&["figures", "--until", "2026-11-26"]);
    assert_eq!((figures["calls"].as_u64(), figures["with_finding"].as_u64()), (Some(60), Some(57)));
    assert_eq!(of(&["check"])["sound"], true);
    assert_eq!(of(&["export", "machines"])["saved_as"], Value::Null);
    for what in ["hours", "procedures"] {
        let listed = of(&["export", what]);
        assert!(listed["count"].as_u64().unwrap() > 10, "{what}");
        let list = file(&format!("records-{what}.csv"), listed["text"].as_str().unwrap());
        let again = of(&["import", what, &list]);
        assert_eq!(
            (&again["report"]["unchanged"], &again["report"]["kept"]),
            (&listed["count"], &true.into()),
            "{what}"
        );
    }
    let copy = format!("{path}.copy");
    assert_eq!(of(&["backup", &copy])["copy"], copy.as_str());
    assert_eq!(document(&["calls", &copy])["count"], 60);
    let list = file("records-machines.csv", "machine_type,serial\njar-filler,JF-9001\n");
    let report = of(&["import", "machines", &list, "--dry-run"]);
    assert_eq!((report["report"]["added"].as_u64(), report["report"]["kept"].as_bool()), (Some(1), Some(false)));
}

#[test]
fn records_of_ones_own_from_the_machine_file_to_the_figures() {
    let path = place("own");
    let press = file("records-press.toml", crate::support::PRESS);
    assert_eq!(document(&["init", &path])["records"], path.as_str());
    let added = document(&["add", &path, &press, "--name", "press"]);
    assert_eq!((added["version"].as_u64(), added["fresh"].as_bool()), (Some(1), Some(true)));
    assert_eq!(document(&["add", &path, &press, "--name", "press"])["fresh"], false);
    let demo = document(&["add", &path, "demo:minimal"]);
    assert_eq!(demo["machine_type"], "minimal");
    let machines =
        file("records-own.csv", "machine_type;serial;site;running_hours\npress;P-1;Hall;1200,5\npress;P-2;;\n");
    let out = lampwise(&["records", "import", &path, "machines", &machines]).good();
    assert_eq!(out, "2 rows kept: 2 new, 0 changed, 0 as before\n");
    let wrong = file("records-wrong.csv", "machine_type,serial\npress,P-3\ncrane,P-4\n");
    let ran = lampwise(&["records", "import", &path, "machines", &wrong]);
    assert_eq!((ran.code, ran.err.as_str()), (1, ""));
    let expected = "line 3: the machine type `crane`: there is no such thing in the records\n    add its machine file first, \
                    under this name: `lampwise records add`\n2 rows; nothing was kept\n";
    assert_eq!(ran.out, expected);
    let calls = file(
        "records-calls.jsonl",
        "{\"machine_type\": \"press\", \"serial\": \"P-1\", \"began\": \"2026-05-04T08:00:00Z\", \
         \"closed\": \"2026-05-04T09:30:00Z\", \"entries\": [\"complaint: won't start\", \"lamps: X2 off\"]}\n",
    );
    lampwise(&["records", "import", &path, "calls", &calls]).good();
    let findings = file(
        "records-findings.csv",
        "machine_type,serial,began,sure,solved,visits,deviations,words\n\
         press,P-1,2026-05-04T08:00:00Z,1,visit,1,X2/dead,the switch was dead\n",
    );
    lampwise(&["records", "import", &path, "findings", &findings]).good();
    let figures = document(&["figures", &path, "--since", "2026-01-01", "--until", "2026-12-31"]);
    assert_eq!(figures["causes"][0]["key"], "sensor/dead");
    assert_eq!(figures["first_visit"]["share"], 1.0);
    // Hours, once: what overlaps would count twice.
    let half_year = ["hours", path.as_str(), "p-1", "900", "--since", "2026-01-01", "--until", "2026-07-01"];
    assert_eq!(document(&half_year)["hours"], 900.0);
    let overlapping = [&["records"], &half_year[..]].concat();
    assert!(lampwise(&overlapping).bad(2).contains("kept already"));
    let rates = document(&["rates", &path, "--all", "--until", "2026-08-01"]);
    let dead =
        rates["faults"].as_array().unwrap().iter().find(|one| one["mode"] == "dead" && one["device_type"] == "sensor");
    assert_eq!(dead.unwrap()["found"], 1.0);
    assert_eq!(rates["left_out"]["machines_without_hours"], 1);
    // What is printed of a call can be led on.
    let text = lampwise(&["records", "call", &path, "1"]).good();
    assert!(text.contains("lamps: X2 off\n# began 2026-05-04 08:00\n") && text.contains("# it was X2/dead"), "{text}");
    let kept = file("records-call.txt", &text);
    let state: Value = serde_json::from_str(&lampwise(&["call", &press, "--replay", &kept, "--json"]).good()).unwrap();
    assert_eq!(state["entries"].as_array().unwrap().len(), 2);
    // A list is saved, and not over another.
    let list = format!("{path}.copy");
    let out = lampwise(&["records", "export", &path, "findings", "--format", "json-lines", "--output", &list]).good();
    assert_eq!(out, format!("1 findings written to {list}\n"));
    assert!(lampwise(&["records", "export", &path, "findings", "--output", &list]).bad(2).contains("there already"));
}

#[test]
fn a_machine_in_the_records_is_diagnosed_with_its_own_settings_and_the_learned_rates() {
    let path = place("why");
    let press = file("records-press.toml", crate::support::PRESS);
    lampwise(&["records", "init", &path]).good();
    lampwise(&["records", "add", &path, &press, "--name", "press"]).good();
    let mut store = records::Store::open(Path::new(&path)).unwrap();
    let at = "2026-01-01T00:00:00Z".parse().unwrap();
    let until = "2026-06-01T00:00:00Z".parse().unwrap();
    let kind = store.machine_type_named("press").unwrap().unwrap().id;
    let new = records::NewMachine { serial: "P-17".to_owned(), ..records::NewMachine::of(kind) };
    let machine = store.add_machine(&new, at).unwrap();
    let hours = records::Exposure {
        id: records::ExposureId(0),
        machine,
        since: at,
        until,
        amount: 20_000.0,
        unit: records::Unit::Hours,
    };
    store.add_exposure(&hours).unwrap();
    for day in 0..4 {
        // Sixty days apart, so that each is a finding of its own.
        let began = at + jiff::SignedDuration::from_hours(24 * 60 * day);
        let call = store.begin_call(&records::NewCall::On(machine), began).unwrap();
        let deviations = vec!["X2/stuck-on".to_owned()];
        let finding = records::Finding { deviations, sure: 1.0, ..records::Finding::default() };
        store.set_finding(call, 0, &finding, began).unwrap();
    }
    let probability = |more: &[&str]| -> f64 {
        let arguments = [&["why", "p-17", "--records", &path, "--lamps", "X2 X3 on", "--json"], more].concat();
        let document = valid("why", &lampwise(&arguments).good());
        let remarks = document["remarks"].as_array().unwrap();
        assert_eq!(remarks.iter().any(|remark| remark["code"] == "learned-rates"), more.is_empty(), "{remarks:?}");
        let causes = document["answer"]["causes"].as_array().unwrap();
        let members = causes.iter().flat_map(|cause| cause["members"].as_array().unwrap());
        let found = members.filter(|member| member["key"] == "X2/stuck-on");
        found.map(|member| member["probability"].as_f64().unwrap()).sum()
    };
    let (learned, library) = (probability(&[]), probability(&["--library-rates"]));
    assert!(learned > library * 1.2, "{learned} {library}");
    // A type by its name, and what is not there.
    lampwise(&["describe", "press", "--records", &path]).good();
    let said = lampwise(&["why", "p-18", "--records", &path]).bad(2);
    assert!(said.contains("neither a machine nor a machine type `p-18`"), "{said}");
}

#[test]
fn nothing_is_overwritten_and_what_is_missing_is_told() {
    let path = history("refuse");
    for arguments in [
        vec!["records", "init", &path],
        vec!["records", "demo", &path],
        vec!["records", "backup", &path, &path],
        vec!["records", "calls", "no-such-file.db"],
        vec!["records", "calls", "demos/minimal.toml"],
        vec!["records", "call", &path, "99999"],
        vec!["records", "calls", &path, "--serial", "nobody"],
        vec!["records", "machines", &path, "--of", "crane"],
        vec!["records", "machines", &path, "--at", "nowhere"],
        vec!["records", "figures", &path, "--since", "2026-01-02", "--until", "2026-01-01"],
        vec!["records", "figures", &path, "--since", "tomorrow"],
        vec!["records", "import", &path, "machines", "no-such-file.csv"],
    ] {
        let said = lampwise(&arguments).bad(2);
        assert!(said.contains("error"), "{arguments:?}: {said}");
        if !said.contains("Usage") && !said.contains("For more information") {
            assert!(said.contains("help: "), "{arguments:?}: {said}");
        }
    }
    assert_eq!(document(&["calls", &path])["count"], 60);
}
