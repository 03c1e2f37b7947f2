use crate::support::{PRESS, file, lampwise, press};

#[test]
fn a_healthy_run_as_time_line_and_chart() {
    insta::assert_snapshot!(lampwise(&["play", &press(), "--lamps"]).good());
}

#[test]
fn a_dead_sensor_stops_the_run_where_its_lamp_is_needed() {
    let out = lampwise(&["play", &press(), "--with", "X3/dead@lower"]).good();
    assert!(out.contains("At the end it stands in lower."), "{out}");
    assert!(out.contains("sets in: "), "{out}");
}

#[test]
fn an_unknown_deviation_names_its_neighbours() {
    let err = lampwise(&["play", &press(), "--with", "X3/daed"]).bad(2);
    assert!(err.contains("did you mean `X3/dead`"), "{err}");
}

#[test]
fn an_unknown_step_names_the_steps() {
    let err = lampwise(&["play", &press(), "--with", "X3/dead@lowr"]).bad(2);
    assert!(err.contains("ready, lower, raise"), "{err}");
}

#[test]
fn every_demo_plays_every_routine_to_its_end() {
    for demo in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        let about = lampwise(&["describe", &format!("demo:{demo}"), "--json"]).good();
        let about: serde_json::Value = serde_json::from_str(&about).unwrap();
        for routine in about["routines"].as_array().unwrap() {
            let name = routine["name"].as_str().unwrap();
            let out = lampwise(&["play", &format!("demo:{demo}"), "--routine", name, "--lamps"]).good();
            assert!(out.contains("At the end it stands in "), "{demo} {name}\n{out}");
        }
    }
}

#[test]
fn steps_that_are_passed_through_in_no_time_are_told() {
    let text = PRESS.replace("raise =", "look = \"wait until ram = down\"\nraise =");
    let machine = file("press-that-looks.toml", text);
    let out = lampwise(&["play", &machine]).good();
    assert!(out.contains("step raise (through look)"), "{out}");
    let out = lampwise(&["play", &machine, "--json"]).good();
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    let passed: Vec<String> =
        document["instants"].as_array().unwrap().iter().map(|one| one["passed"].to_string()).collect();
    assert_eq!(passed.iter().filter(|passed| *passed == "[\"look\"]").count(), 1, "{passed:?}");
}
