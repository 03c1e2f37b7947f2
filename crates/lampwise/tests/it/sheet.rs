use crate::support::{file, lampwise, press};

#[test]
fn the_sheets_are_listed() {
    let out = lampwise(&["sheet", &press()]).good();
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    insta::assert_snapshot!(out);
}

#[test]
fn a_drawing_is_printed_and_a_file_is_not_overwritten() {
    let press = press();
    let drawing = lampwise(&["sheet", &press, "chart", "--format", "svg"]).good();
    assert!(drawing.starts_with("<svg ") && drawing.contains(">lower</text>"), "{drawing}");
    let there = file("there.svg", "mine");
    let said = lampwise(&["sheet", &press, "chart", "--output", &there]).bad(2);
    assert!(said.contains("not overwritten") && said.contains("--replace"), "{said}");
    lampwise(&["sheet", &press, "chart", "--output", &there, "--replace"]).good();
    assert_eq!(std::fs::read_to_string(there).unwrap(), drawing);
}

#[test]
fn what_can_not_be_made_is_told() {
    let press = press();
    for (arguments, wanted) in [
        (vec!["sheet", &press, "chart"], "--format"),
        (vec!["sheet", &press, "chart", "--format", "pdf"], "--output"),
        (vec!["sheet", &press, "chart", "timing", "--format", "svg"], "one sheet"),
        (vec!["sheet", &press, "chart", "chart", "--format", "html"], "twice"),
        (vec!["sheet", &press, "call", "--format", "html"], "--call"),
        (vec!["sheet", &press, "procedures", "--format", "html"], "procedure"),
        (vec!["sheet", "demo:jar-filler", "procedures", "--procedure", "nonsense", "--format", "html"], "first_start"),
    ] {
        let said = lampwise(&arguments).bad(2);
        assert!(said.contains(wanted), "{arguments:?}: {said}");
    }
}

#[test]
fn a_saved_call_is_about_its_machine() {
    let call = "lampwise call 1\nfile: x\nmachine: Press\nversion: \nfingerprint: 0\n\ncomplaint: wont-start\n";
    let call = file("press-call.txt", call);
    let page = lampwise(&["sheet", &press(), "call", "--call", &call, "--format", "html"]).good();
    assert!(
        page.contains("t start</td>") && !page.contains("wont-start") && page.contains("has changed since"),
        "{page}"
    );
    let said = lampwise(&["sheet", "demo:minimal", "call", "--call", &call, "--format", "html"]).bad(2);
    assert!(said.contains("Press"), "{said}");
}
