//! The JSON Schema and the reader agree on the demo files, and the shapes are fit to be read.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::Path;

use machine::shape::{LIBRARY_FILE, MACHINE_FILE, Shape, WORDS_FILE, all_shapes, json_schema};
use serde_json::Value;

/// The TOML file as JSON; dates become texts, as editors see them.
fn as_json(value: toml::Value) -> Value {
    match value {
        toml::Value::String(text) => Value::from(text),
        toml::Value::Integer(whole) => Value::from(whole),
        toml::Value::Float(number) => Value::from(number),
        toml::Value::Boolean(flag) => Value::from(flag),
        toml::Value::Datetime(date) => Value::from(date.to_string()),
        toml::Value::Array(list) => list.into_iter().map(as_json).collect(),
        toml::Value::Table(table) => table.into_iter().map(|(key, value)| (key, as_json(value))).collect(),
    }
}

fn read(path: &Path) -> Value {
    as_json(toml::Value::Table(fs::read_to_string(path).unwrap().parse().unwrap()))
}

fn complaints(shape: &'static Shape, file: &Value) -> Vec<String> {
    let validator = jsonschema::draft202012::new(&json_schema(shape)).unwrap();
    validator.iter_errors(file).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

fn each_toml(folder: &str) -> Vec<std::path::PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut list: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    list.retain(|path| path.extension().is_some_and(|extension| extension == "toml"));
    list.sort();
    list
}

#[test]
fn the_demo_machines_satisfy_the_schema() {
    let demos = each_toml("../../demos");
    assert!(!demos.is_empty());
    for path in demos {
        assert_eq!(complaints(&MACHINE_FILE, &read(&path)), Vec::<String>::new(), "{}", path.display());
    }
}

#[test]
fn the_library_satisfies_its_schema() {
    for path in each_toml("library") {
        let file = read(&path);
        let shape = if file.get("text").is_some() { &WORDS_FILE } else { &LIBRARY_FILE };
        assert_eq!(complaints(shape, &file), Vec::<String>::new(), "{}", path.display());
    }
}

#[test]
fn a_misspelt_key_does_not_satisfy_the_schema() {
    let file = as_json(toml::Value::Table(
        "format = 1\nmachine = { nam = \"x\" }\ninputs = { X0 = { lit = \"a = b\" } }".parse().unwrap(),
    ));
    assert!(!complaints(&MACHINE_FILE, &file).is_empty());
}

#[test]
fn every_key_is_described_and_has_an_example() {
    for shape in all_shapes(&MACHINE_FILE).into_iter().chain(all_shapes(&LIBRARY_FILE)) {
        assert!(shape.about.ends_with('.'), "{}", shape.name);
        for key in shape.keys {
            assert!(key.about.ends_with('.') && !key.example.is_empty(), "{}.{}", shape.name, key.name);
            let twice = shape.keys.iter().filter(|other| other.name == key.name).count();
            assert_eq!(twice, 1, "{}.{}", shape.name, key.name);
        }
    }
}
