use diagnose::call::code::{Entered, encode};
use diagnose::call::fingerprint;
use diagnose::digest::asked_of_operator;
use diagnose::evidence::{Complaint, LampState, Naming};
use machine::id::{Id, RoutineId};

use crate::support::{PRESS, command, file, finish, lampwise, press};

/// A code about the press: it stops midway, X2 is lit and all others are dark, one question nobody knows.
fn code() -> String {
    let machine = machine::load_str("press.toml", PRESS).unwrap();
    let dark = Some((LampState::Dark, Naming::Rest));
    let entered = Entered {
        complaint: Some(Complaint::StopsMidway),
        last: Some((RoutineId::new(0), Some(0))),
        lamps: vec![dark, Some((LampState::Lit, Naming::Named)), dark],
        answers: vec![(asked_of_operator(&machine)[0], None)],
        tried: Vec::new(),
    };
    // The device library inside the program belongs to it.
    let reading = machine::read(machine::Source::new("press.toml", PRESS), &[]);
    let file = fingerprint(reading.sources.iter().map(|source| source.text.as_str()));
    encode(&machine, &file, &entered).unwrap()
}

#[test]
fn a_page_is_saved_that_loads_nothing_from_elsewhere_and_is_not_overwritten() {
    let press = press();
    let place = file("guide.html", "mine");
    let said = lampwise(&["guide", &press, "--output", &place]).bad(2);
    assert!(said.contains("not overwritten") && said.contains("--replace"), "{said}");
    let out = lampwise(&["guide", &press, "-o", &place, "--replace"]).good();
    assert!(
        out.contains("saved as") && out.contains("causes") && out.lines().all(|line| line.chars().count() <= 80),
        "{out}"
    );
    let page = std::fs::read_to_string(&place).unwrap();
    // The name space of SVG is a name, not an address.
    let addresses = page.replace("http://www.w3.org/2000/svg", "");
    assert!(!addresses.contains("http://") && !addresses.contains("https://") && !page.contains(" src=\""));
    assert!(page.contains("manual, lockout rules and local codes come first"));
}

#[test]
fn a_call_goes_on_from_the_code_with_everything_that_was_entered() {
    let press = press();
    let place = std::env::temp_dir().join(format!("from-code-{}.txt", std::process::id()));
    let saved = place.display().to_string();
    _ = std::fs::remove_file(&place);
    lampwise(&["call", &press, "--from-code", &code(), "--save", &saved]).good();
    let kept = std::fs::read_to_string(&place).unwrap();
    _ = std::fs::remove_file(&place);
    for entry in ["who: operator", "complaint: ", "did: ", "lamps: X2 on", "unknown: "] {
        assert!(kept.contains(&format!("\n{entry}")), "{entry}: {kept}");
    }
    let out = finish(command(&["call", &press, "--from-code", &code(), "--json-lines"]).output().unwrap()).good();
    let state: serde_json::Value = serde_json::from_str(out.lines().next().unwrap()).unwrap();
    assert!(state["entries"].as_array().unwrap().iter().any(|entry| entry["kind"] == "lamps"), "{state}");
}

#[test]
fn a_wrong_code_is_told_and_nothing_is_begun() {
    let press = press();
    let code = code();
    let mut letters: Vec<char> = code.chars().collect();
    letters[6] = if letters[6] == 'K' { 'M' } else { 'K' };
    let misread: String = letters.into_iter().collect();
    let said = lampwise(&["call", &press, "--from-code", &misread]).bad(2);
    assert!(said.contains("check letters") && said.contains("group by group"), "{said}");
    let said = lampwise(&["call", "demo:minimal", "--from-code", &code]).bad(2);
    assert!(said.contains("another machine file"), "{said}");
    let said = lampwise(&["call", &press, "--from-code", "UUUU"]).bad(2);
    assert!(said.contains("`U` is in no code"), "{said}");
    let document = lampwise(&["call", &press, "--from-code", &misread, "--json-lines", "--json"]);
    assert_eq!(document.code, 2);
}
