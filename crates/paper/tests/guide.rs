//! The offline guide as a file. What it answers is held against the program in a browser: tools/browser.
#![allow(missing_docs, clippy::unwrap_used)]

use std::io::Read as _;

use base64::Engine as _;
use machine::caution::Caution;
use machine::{Alternative, Choice, Source};
use paper::guide::{LARGEST, Picture, Request, guide};
use serde_json::Value;

const PRESS: &str = r#"format = 1
[machine]
name = "Press </script><b>"
[inputs]
X1 = { lit = "start = pressed" }
X2 = { lit = "ram = up", picture = { file = "front.png", across = 0.25, down = 0.5 } }
X3 = { lit = "ram = down" }
[charts.press]
start = "start = pressed"
needs = ["ram = up"]
[charts.press.steps]
lower = "do ram down until ram = down"
raise = "do ram up until ram = up"
"#;

fn alternatives(name: &str, text: &str) -> Vec<Alternative> {
    machine::read(Source::new(name, text), &[]).resolve(&Choice::default()).alternatives
}

fn made(name: &str, text: &str, pictures: &[Picture]) -> String {
    let request = Request { file: name, fingerprint: "0", serial: Some(7), pictures };
    guide(&alternatives(name, text), &request).unwrap().html
}

/// What is packed in the page.
fn data(html: &str) -> Value {
    let element = html.split_once(r#"id="data""#).unwrap().1;
    let packed = element.split_once('>').unwrap().1.split_once('<').unwrap().0;
    let bytes = base64::engine::general_purpose::STANDARD.decode(packed).unwrap();
    let mut text = String::new();
    flate2::read::DeflateDecoder::new(&bytes[..]).read_to_string(&mut text).unwrap();
    serde_json::from_str(&text).unwrap()
}

#[test]
fn the_largest_demo_is_small_enough_for_a_phone() {
    let text = include_str!("../../../demos/lidding-line.toml");
    let html = made("lidding-line.toml", text, &[]);
    assert!(html.len() < LARGEST, "{}", html.len());
}

#[test]
fn the_same_machine_gives_the_same_bytes_and_its_texts_are_no_markup() {
    let html = made("press.toml", PRESS, &[]);
    assert_eq!(html, made("press.toml", PRESS, &[]));
    assert!(html.contains("Press &lt;/script&gt;") && !html.contains("Press </script>"));
    for language in ["en", "de", "es"] {
        let first = Caution::ManualFirst.words();
        assert!(html.contains(first.in_language(language).split('\'').next().unwrap()), "{language}");
    }
    assert!(html.contains("default-src 'none'"));
}

#[test]
fn lamps_stand_in_their_rows_and_pictures_are_inside() {
    let picture = Picture { name: "front.png".to_owned(), kind: "image/png", bytes: vec![1, 2, 3] };
    let data = data(&made("press.toml", PRESS, &[picture]));
    let labels: Vec<&str> =
        data["lamps"][0]["lamps"].as_array().unwrap().iter().map(|lamp| lamp["label"].as_str().unwrap()).collect();
    assert_eq!(labels, ["X1", "X2", "X3"]);
    assert_eq!(data["pictures"]["front.png"], "data:image/png;base64,AQID");
    let with = data["questions"].as_array().unwrap().iter().filter(|one| one["picture"][0] == "front.png");
    assert!(with.clone().count() > 0);
    with.for_each(|one| assert_eq!(one["picture"][1], 0.25));
}

#[test]
fn texts_about_the_machine_are_there_in_three_languages_whichever_revision_they_are_of() {
    let text = include_str!("../../../demos/parts-washer.toml");
    let data = data(&made("parts-washer.toml", text, &[]));
    let three = |one: &Value| one.as_array().is_some_and(|list| list.len() == 3);
    let all = |key: &str| data[key].as_array().unwrap().clone();
    assert_eq!(data["lamps"][0]["title"], serde_json::json!(["inputs", "Eingänge", "entradas"]));
    let places: Vec<Value> = all("questions").into_iter().map(|one| one["place"].clone()).collect();
    assert!(places.iter().filter(|place| three(place)).count() > 5, "{places:?}");
    assert!(places.iter().all(|place| three(place) || place == ""), "{places:?}");
    // Revision B has a reset button.
    let causes: Vec<Value> = all("causes").into_iter().map(|one| one["words"].clone()).collect();
    assert!(causes.iter().any(|words| words[1] == "vergessen: nach dem Einschalten Quittieren drücken"), "{causes:?}");
    assert!(causes.iter().all(three), "{causes:?}");
}

#[test]
fn what_an_operator_is_told_to_do_has_its_movements_with_it() {
    let text = include_str!("../../../demos/jar-filler.toml");
    let data = data(&made("jar-filler.toml", text, &[]));
    let own: Vec<&Value> =
        data["remedies"]["rows"].as_array().unwrap().iter().filter(|row| row.get("key").is_some()).collect();
    assert!(!own.is_empty());
    // Starting what was not started moves the machine.
    let announces = |said: &Value| {
        let begins = |at: usize, how: &str| said[at].as_str().is_some_and(|words| words.starts_with(how));
        begins(0, "Can move: ") && begins(1, "Kann sich bewegen: ") && begins(2, "Puede moverse: ")
    };
    let moved = own.iter().filter(|row| row["before"].as_array().unwrap().iter().any(announces)).count();
    assert!(moved > 0);
    for row in own {
        assert!(row["words"].is_string() || row["words"].is_array(), "{row}");
    }
}
