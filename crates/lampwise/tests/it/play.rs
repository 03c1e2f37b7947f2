use crate::support::{lampwise, press};

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
