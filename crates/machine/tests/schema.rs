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

/// What a file has against it, by the keywords that the shapes' schemas use. A full validator would
/// bring some sixty crates into the test build; a keyword that is not known here fails the test.
fn complaints(shape: &'static Shape, file: &Value) -> Vec<String> {
    let schema = json_schema(shape);
    let mut found = Vec::new();
    validate(&schema, &schema, file, "", &mut found);
    found
}

fn validate(root: &Value, schema: &Value, file: &Value, at: &str, found: &mut Vec<String>) {
    for (keyword, rule) in schema.as_object().unwrap() {
        let right = match keyword.as_str() {
            "$schema" | "title" | "description" | "$defs" => true,
            "$ref" => {
                let inner = root.pointer(rule.as_str().unwrap().trim_start_matches('#')).unwrap();
                validate(root, inner, file, at, found);
                true
            }
            "type" => match rule {
                Value::Array(types) => types.iter().any(|name| is_type(file, name)),
                name => is_type(file, name),
            },
            "enum" => rule.as_array().unwrap().contains(file),
            "minimum" => file.as_f64().is_none_or(|number| number >= rule.as_f64().unwrap()),
            "maximum" => file.as_f64().is_none_or(|number| number <= rule.as_f64().unwrap()),
            "pattern" => file.as_str().is_none_or(|text| fits(rule.as_str().unwrap(), text)),
            "required" => {
                let names = rule.as_array().unwrap();
                names.iter().all(|name| file.get(name.as_str().unwrap()).is_some() || !file.is_object())
            }
            "anyOf" => rule.as_array().unwrap().iter().any(|option| {
                let mut against = Vec::new();
                validate(root, option, file, at, &mut against);
                against.is_empty()
            }),
            "items" => {
                for (index, member) in file.as_array().into_iter().flatten().enumerate() {
                    validate(root, rule, member, &format!("{at}/{index}"), found);
                }
                true
            }
            "properties" => {
                for (name, inner) in rule.as_object().unwrap() {
                    if let Some(member) = file.get(name) {
                        validate(root, inner, member, &format!("{at}/{name}"), found);
                    }
                }
                true
            }
            "additionalProperties" => {
                let known = schema.get("properties").and_then(Value::as_object);
                let further = file.as_object().into_iter().flatten();
                for (name, member) in further.filter(|(name, _)| known.is_none_or(|known| !known.contains_key(*name))) {
                    match rule {
                        Value::Bool(false) => found.push(format!("{at}/{name}: no such key")),
                        rule => validate(root, rule, member, &format!("{at}/{name}"), found),
                    }
                }
                true
            }
            other => panic!("the keyword {other} is not known to this test"),
        };
        if !right {
            found.push(format!("{at}: {keyword} {rule}"));
        }
    }
}

fn is_type(file: &Value, name: &Value) -> bool {
    match name.as_str().unwrap() {
        "string" => file.is_string(),
        "integer" => file.is_i64(),
        "number" => file.is_number(),
        "boolean" => file.is_boolean(),
        "array" => file.is_array(),
        "object" => file.is_object(),
        other => panic!("the type {other} is not known to this test"),
    }
}

/// The two patterns that the schemas use, by the parsers that they stand for.
fn fits(pattern: &str, text: &str) -> bool {
    if pattern.contains("TIME") {
        machine::text::time::parse_time(text).is_ok()
    } else {
        assert!(pattern.contains('%'), "the pattern {pattern} is not known to this test");
        machine::text::chance::parse_chance(text).is_ok()
    }
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
