use std::io::Write as _;
use std::process::Stdio;

use crate::support::{Ran, command, file, finish, lampwise};

/// A machine with a procedure, so small that all about it is worked out in a moment.
fn press() -> String {
    let more = r#"
[procedures.stroke]
words = "one stroke"
purpose = "After work on the ram."
who = "operator"
steps = [
  { do = "power cycle", words = "Switch off and on.", expect = "X2 lit" },
  { do = "press start", words = "Press start.", note = "The ram is loud.", expect = "X2 lit, X3 dark", measure = { words = "time of the stroke", unit = "s", from = 1, to = 3, outside = "oil the guide" } },
]
"#;
    file("press-with-procedure.toml", format!("{}{more}", crate::support::PRESS))
}

fn led(answers: &str, more: &[&str]) -> Ran {
    let press = press();
    let mut arguments = vec!["procedure", press.as_str(), "stroke"];
    arguments.extend(more);
    let mut program = command(&arguments);
    let mut child = program.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(answers.as_bytes()).unwrap();
    finish(child.wait_with_output().unwrap())
}

#[test]
fn the_plans_of_the_demos() {
    for (machine, name, more) in [
        ("jar-filler", "line_priming", &[][..]),
        ("jar-filler", "first_start", &[]),
        ("lidding-line", "vacuum_hold_test", &[]),
        ("parts-washer", "warm_up_and_level", &["--revision", "A"]),
    ] {
        let mut arguments = vec!["procedure", "", name, "--plan"];
        let demo = format!("demo:{machine}");
        arguments[1] = &demo;
        arguments.extend(more);
        let out = lampwise(&arguments).good();
        for line in out.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
        insta::assert_snapshot!(format!("plan_{machine}_{name}"), out);
    }
}

#[test]
fn without_a_name_all_are_listed() {
    let out = lampwise(&["procedure", "demo:lidding-line"]).good();
    assert!(out.contains("vacuum_hold_test  vacuum hold test (7 steps, for a technician)"), "{out}");
    assert!(lampwise(&["procedure", "demo:minimal"]).good().contains("no procedures"));
}

#[test]
fn an_unknown_procedure_names_its_neighbour() {
    let err = lampwise(&["procedure", "demo:jar-filler", "line_primming"]).bad(2);
    assert!(err.contains("did you mean `line_priming`"), "{err}");
}

#[test]
fn a_procedure_that_goes_well_ends_with_what_was_measured() {
    insta::assert_snapshot!(led("\nyes\n2,5 s\n", &[]).good());
}

#[test]
fn answers_come_from_a_file_too() {
    let answers = file("answers.txt", "# all in order\n\nyes\n2,5 s\n");
    let out = lampwise(&["procedure", &press(), "stroke", "--answers", &answers]).good();
    assert_eq!(out, led("\nyes\n2,5 s\n", &[]).good());
}

#[test]
fn movement_and_cautions_are_said_before_the_step_and_lamps_after_it() {
    let out = lampwise(&["procedure", &press(), "stroke", "--plan"]).good();
    let place = |part: &str| out.find(part).unwrap_or_else(|| panic!("{part} is missing in\n{out}"));
    let order = [
        place("When power, air or water comes back"),
        place("Switch off and on."),
        place("This will move: ram, from up towards down and back."),
        place("The ram is loud."),
        place("Press start."),
        place("stays dark X3"),
        place("1 to 3 s"),
    ];
    assert!(order.is_sorted(), "{order:?}\n{out}");
    assert!(place("lockout rules") < order[0]);
}

#[test]
fn a_lamp_that_is_not_as_it_should_be_is_asked_for_again_and_becomes_a_diagnosis() {
    let out = led("X2 off\n\n", &[]).good();
    for part in [
        "Not as it should be: X2 (ram is up) is dark and should be lit.",
        "Look once more.",
        "What it can be",
        "X2 (ram is up) stays dark",
        "Go on with the procedure all the same?",
        "Left after 1 of 2 steps.",
    ] {
        assert!(out.contains(part), "{part} is missing in\n{out}");
    }
    // Whoever looks again and finds it in order goes on.
    let out = led("X2 off\nX2 on\nyes\n2\n", &[]).good();
    assert!(out.contains("All 2 steps were done.") && !out.contains("What it can be"), "{out}");
}

#[test]
fn answers_can_be_taken_back_and_what_is_not_understood_is_asked_again() {
    let out = led("X9 off\nno\nX2 off\nback\nyes\nback\nyes\n?\nlong\n7\n", &[]).good();
    assert!(out.contains("no lamp is called `X9`") && out.contains("`long` is no number"), "{out}");
    assert!(out.contains("OUTSIDE 1 to 3 s): oil the guide"), "{out}");
    assert!(out.contains("not looked at after step 2"), "{out}");
}

#[test]
fn what_was_measured_goes_along_into_the_call() {
    let out = led("yes\nX2 off\n\n7\ncall\nlist\nfinish\n", &[]).good();
    assert!(out.contains("note         step 2, time of the stroke: 7 s (OUTSIDE 1 to 3 s)"), "{out}");
}

#[test]
fn no_answer_at_all_is_a_procedure_that_was_left() {
    let out = led("", &[]).good();
    assert!(out.contains("Left after 0 of 2 steps."), "{out}");
}

#[test]
fn the_document_holds_what_was_done() {
    let document: serde_json::Value =
        serde_json::from_str(&led("X2 off\n\nyes\n?\n1.5\n", &["--json"]).good()).unwrap();
    assert_eq!(document["record"]["finished"], true);
    assert_eq!(document["record"]["steps"][1]["measured"], 1.5);
    assert_eq!(document["record"]["deviations"][0]["number"], 1);
    assert!(document["record"]["deviations"][0]["answer"]["causes"].as_array().unwrap().len() > 1);
    assert_eq!(document["procedure"]["steps"][0]["cautions"][0]["key"], "caution.comes-back");
}

#[test]
fn lint_holds_the_promised_lamps_against_the_simulation() {
    let text = std::fs::read_to_string(press()).unwrap().replace("X2 lit, X3 dark", "X3 lit");
    let ran = lampwise(&["lint", &file("wrong-promise.toml", text)]);
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("on a healthy machine `X3` is dark after this step, not lit"), "{}", ran.out);
}
