use std::io::Write as _;
use std::process::Stdio;

use crate::support::{Ran, command, file, finish, lampwise};

fn practised(arguments: &[&str], typed: &str) -> Ran {
    let mut child = command(&[&["practice"], arguments].concat())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child.stdin.take().expect("a pipe").write_all(typed.as_bytes()).expect("it reads");
    finish(child.wait_with_output().expect("it ends"))
}

#[test]
fn a_forgotten_cap_is_found() {
    let out = practised(
        &["demo:minimal", "--exercise", "4"],
        "?\nlamps\nlook cap\nchecks I3\nfrobnicate\nit is I3/nonsense\nso far\nit is lapse/cap in_chuck\nit is nothing\n",
    )
    .good();
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    // Minutes and probabilities are left to the tests of the libraries.
    let numbers = regex_free(&out);
    insta::assert_snapshot!(numbers);
}

/// Digits before a unit or a percent sign become `#`, so that no snapshot holds a figure.
fn regex_free(text: &str) -> String {
    text.lines()
        .map(|line| {
            let words: Vec<&str> = line.split(' ').collect();
            let is_number = |word: &str| !word.is_empty() && word.chars().all(|one| one.is_ascii_digit() || one == '.');
            let units = ["min", "s", "%", "times", "min)", "s)", "min,"];
            let masked: Vec<String> = (0..words.len())
                .map(|at| {
                    let bare = words[at].trim_start_matches('(');
                    let before_unit = words.get(at + 1).is_some_and(|next| units.contains(next));
                    if is_number(bare) && before_unit { words[at].replace(bare, "#") } else { words[at].to_owned() }
                })
                .collect();
            masked.join(" ")
        })
        .collect::<Vec<_>>()
        .join("\n")
}

/// What is meant is found by its number in the list that was shown last, by its name, or by words that no other has.
#[test]
fn numbers_and_words_are_understood_and_what_moves_is_said_first() {
    let of_exercise = |typed: &str| practised(&["demo:minimal", "--exercise", "4"], typed).good();
    let out = of_exercise("do 99\ndo -1\ndo dance\ncheck 1\nit is 77\nit is spoon\n");
    for told in [
        "There is no number 99: they go from 1 to ",
        "There is no number -1: they go from 1 to ",
        "There is no thing to do `dance`; `do` shows what there is.",
        "There is no list yet: `checks` with the name of a device behind",
        "There is no number 77: they go from 1 to 4.",
        "There is no cause `spoon`",
    ] {
        assert!(out.contains(told), "{told}: {out}");
    }
    assert!(out.contains("Given up."), "{out}");
    // Nothing was done, so that no time has passed.
    assert!(!out.contains("min >") && out.matches("0 s >").count() == 7, "{out}");
    for said in ["causes\nit is cap", "it is forgotten cap", "It is the CAP.\nit is 1", "it's in_chuck FORGOTTEN"] {
        let out = of_exercise(&format!("{said}\n"));
        assert!(out.contains("Right. It was: forgotten: cap to \"in chuck\"."), "{said}: {out}");
    }
    let several = of_exercise("it is dead\nit is 2\n");
    assert!(several.contains("`dead` can be more than one; say its number:\n") && several.contains("That was not it."));
    let started = of_exercise("try cap\n");
    assert!(started.contains("It runs again.") || started.contains("can be more than one"), "{started}");
    // Start is pressed on a machine that may begin at once.
    let pressed = of_exercise("do press start\n");
    let (said, shown) = (pressed.find("can move: ").unwrap(), pressed.find("lit   · dark").unwrap());
    assert!(said < shown, "{pressed}");
    assert!(!of_exercise("checks I3\ncheck 1\n").contains("I3/"), "no keys are shown");
}

#[test]
fn progress_is_kept_and_the_next_exercise_follows() {
    let place = file("progress.jsonl", "");
    let of_minimal = ["demo:minimal", "--progress", &place];
    let first = practised(&of_minimal, "lamps\ngive up\n").good();
    assert!(first.contains("exercise 1") && first.contains("Of the last 1 of this level 0 right"), "{first}");
    let second = practised(&of_minimal, "it is nothing\n").good();
    assert!(second.contains("exercise 2") && second.contains("Of the last 2"), "{second}");
    let drilled =
        practised(&["demo:minimal", "--progress", &place, "--drill", "step", "--count", "3"], "1\n9\n2\n1\n").good();
    assert!(drilled.contains("of 3 right") && drilled.contains("A number from 1 to"), "{drilled}");
    let text = std::fs::read_to_string(&place).unwrap();
    assert_eq!(text.lines().count(), 3, "{text}");
    let next = practised(&["demo:minimal", "--progress", &place, "--drill", "step", "--count", "1"], "1\n").good();
    assert!(next.contains("drill 4"), "{next}");
}

#[test]
fn a_file_that_is_no_progress_is_refused_and_left_alone() {
    let place = file("no-progress.jsonl", "hello\n");
    let err = practised(&["demo:minimal", "--progress", &place], "").bad(2);
    assert!(err.contains("line 1"), "{err}");
    assert_eq!(std::fs::read_to_string(&place).unwrap(), "hello\n");
    assert!(lampwise(&["practice", "demo:minimal", "--drill", "step", "--level", "two"]).bad(2).contains("--level"));
}
