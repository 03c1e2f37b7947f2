use serde_json::Value;

use crate::support::{lampwise, press};

fn schema(name: &str) -> Value {
    serde_json::from_str(&lampwise(&["schema", name]).good()).expect("a schema is JSON")
}

/// The document, after it was held against the schema of this name.
pub fn valid(name: &str, text: &str) -> Value {
    let document: Value = serde_json::from_str(text).expect("the output is JSON");
    let schema = schema(name);
    let validator = jsonschema::validator_for(&schema).expect("a good schema");
    let mistakes: Vec<String> =
        validator.iter_errors(&document).map(|error| format!("{}: {error}", error.instance_path())).collect();
    assert!(mistakes.is_empty(), "{name}: {mistakes:#?}");
    document
}

#[test]
fn every_command_prints_what_its_schema_says() {
    let press = press();
    let press = press.as_str();
    let guide = crate::support::file("schema-guide.html", "");
    for (name, arguments) in [
        ("why", vec!["why", press, "--lamps", "X2 off", "--did", "pressed start"]),
        ("why", vec!["why", press]),
        ("call", vec!["call", press]),
        ("play", vec!["play", press, "--lamps", "--with", "X3/dead@lower"]),
        ("play", vec!["play", "demo:parts-washer", "--serial", "1400"]),
        ("procedure", vec!["procedure", "demo:jar-filler"]),
        ("procedure", vec!["procedure", "demo:jar-filler", "line_priming", "--plan"]),
        ("procedure", vec!["procedure", "demo:parts-washer", "first_start"]),
        ("practice", vec!["practice", press, "--level", "fault"]),
        ("practice", vec!["practice", press, "--drill", "step"]),
        ("sheet", vec!["sheet", press]),
        ("sheet", vec!["sheet", press, "chart", "--format", "svg"]),
        ("guide", vec!["guide", press, "--output", &guide, "--replace"]),
        ("lint", vec!["lint", "demos/minimal.toml", "demos/jar-filler.toml"]),
        ("draft", vec!["draft", "demos/io-list.csv"]),
        ("describe", vec!["describe", press]),
        ("describe", vec!["describe", "demo:parts-washer", "--deviations"]),
        ("tree", vec!["tree", press, "--complaint", "wont-start", "--depth", "2"]),
        ("tree", vec!["tree", "demo:minimal", "--depth", "3"]),
        ("review", vec!["review", press]),
        ("review", vec!["review", "demo:minimal"]),
        ("trial", vec!["trial", press, "--calls", "3", "--alone"]),
        ("trial", vec!["trial", press, "--calls", "3", "--each"]),
        ("types", vec!["types"]),
        ("demo", vec!["demo"]),
        ("demo", vec!["demo", "minimal"]),
        ("schema", vec!["schema"]),
        ("completions", vec!["completions", "bash"]),
        ("man", vec!["man"]),
    ] {
        let mut arguments = arguments;
        arguments.push("--json");
        let document = valid(name, &lampwise(&arguments).good());
        let version = document["schema"].as_str().unwrap();
        assert!(version.starts_with("lampwise.") && version.ends_with("/1"), "{version}");
    }
}

#[test]
fn every_failure_is_a_document_too_and_is_printed_once() {
    let press = press();
    for arguments in [
        vec!["why", "no-such-file.toml", "--json"],
        vec!["why", &press, "--lamps", "X9 on, X2 maybe", "--json"],
        vec!["why", &press, "--no-such-flag", "--json"],
        vec!["frobnicate", "--json"],
        vec!["types", "reed-swich", "--json"],
    ] {
        let ran = lampwise(&arguments);
        assert_eq!((ran.code, ran.err.as_str()), (2, ""), "{arguments:?}");
        let document = valid("error", &ran.out);
        assert_eq!(document["exit_code"], 2);
        assert!(!document["errors"].as_array().unwrap().is_empty());
    }
}

#[test]
fn lint_prints_mistakes_as_its_answer() {
    let path = crate::support::file("one-mistake.toml", crate::support::PRESS.replace("[machine]", "[machin]"));
    let ran = lampwise(&["lint", &path, "--json"]);
    assert_eq!(ran.code, 1);
    assert!(valid("lint", &ran.out)["files"][0]["errors"].as_u64().unwrap() > 0);
}

#[test]
fn an_unknown_schema_names_the_known_ones() {
    assert!(lampwise(&["schema", "wy"]).bad(2).contains("machine, library, words, why"));
}
