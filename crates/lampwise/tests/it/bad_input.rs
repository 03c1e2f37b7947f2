use std::io::Read;
use std::process::Stdio;

use crate::support::{PRESS, command, file, lampwise, press, root};

fn cannot_read(path: &str, because: &str) {
    for arguments in
        [vec!["why", path, "--lamps", "X2 on"], vec!["play", path], vec!["describe", path], vec!["lint", path]]
    {
        let err = lampwise(&arguments).bad(2);
        assert!(err.contains("can't read the machine file") && err.contains(because), "{err}");
        assert!(err.contains("help: "), "{err}");
        assert_eq!(err.matches("error").count(), 1, "{err}");
    }
}

#[test]
fn a_missing_file() {
    cannot_read("demos/minimall.toml", "did you mean `demos/minimal.toml`?");
}

#[test]
fn a_folder() {
    cannot_read("demos", "it is a folder");
}

#[test]
fn a_binary_file() {
    cannot_read(env!("CARGO_BIN_EXE_lampwise"), "larger than 1 MB");
    cannot_read(&file("binary.toml", [0x7f, b'E', b'L', b'F', 0, 0]), "it is no text");
    cannot_read(&file("latin.toml", b"format = 1\nname = \"M\xfcller\"\n"), "line 2 is not in UTF-8");
}

#[test]
fn a_file_of_2_megabytes() {
    cannot_read(&file("large.toml", "# a comment\n".repeat(180_000)), "larger than 1 MB");
}

#[test]
fn an_empty_file() {
    cannot_read(&file("empty.toml", " \n\n"), "it is empty");
}

#[test]
fn an_endless_file() {
    if std::path::Path::new("/dev/zero").exists() {
        cannot_read("/dev/zero", "larger than 1 MB");
    }
}

#[test]
fn a_lamp_that_does_not_exist_names_the_nearest_labels() {
    let err = lampwise(&["why", &press(), "--lamps", "X4 on, rest off"]).bad(2);
    assert!(err.contains("no lamp is called `X4`") && err.contains("X3"), "{err}");
    assert!(err.contains("--lamps:1:1"), "{err}");
}

#[test]
fn a_lamp_that_is_lit_and_dark() {
    let err = lampwise(&["why", &press(), "--lamps", "X2 on", "--lamps", "X2 off"]).bad(2);
    assert!(err.contains("contradiction"), "{err}");
}

#[test]
fn mistakes_of_all_reports_are_told_in_one_go() {
    let err = lampwise(&[
        "why",
        &press(),
        "--did",
        "danced",
        "--lamps",
        "X9 on",
        "--saw",
        "table up",
        "--complaint",
        "it is purple",
        "--hours",
        "-1",
        "--found",
        "X2 taste: sour",
        "--tried",
        "X2/polish",
    ])
    .bad(2);
    assert!(err.contains("`--hours` must be"), "{err}");
    for flag in ["--lamps", "--saw", "--complaint", "--found", "--tried", "--did"] {
        assert!(err.contains(&format!("{flag}:1:1")), "{flag} is missing in\n{err}");
    }
}

#[test]
fn odd_texts_are_no_trouble() {
    for text in ["", " ", ";;;", "\u{0}", "X2 on \u{1f600}", "\"", "🙂", "-", "X2-", &"X2 ".repeat(40_000)] {
        for flag in ["--lamps", "--saw", "--found", "--complaint", "--did"] {
            if text.contains('\u{0}') {
                continue;
            }
            let ran = lampwise(&["why", &press(), &format!("{flag}={text}"), "--json"]);
            assert!(ran.code == 0 || ran.code == 2, "{flag} {text:.20} gave {}", ran.code);
            assert!(serde_json::from_str::<serde_json::Value>(&ran.out).is_ok(), "{}", ran.out);
        }
    }
}

#[test]
fn unknown_revisions_routines_and_settings() {
    assert!(lampwise(&["play", "demo:parts-washer", "--revision", "Z"]).bad(2).contains("there is: A, B"));
    assert!(lampwise(&["play", &press(), "--revision", "A"]).bad(2).contains("has no revisions"));
    assert!(lampwise(&["play", &press(), "--routine", "dance"]).bad(2).contains("there is: "));
    assert!(lampwise(&["play", &press(), "--set", "speed"]).bad(2).contains("has no value"));
    assert!(lampwise(&["play", &press(), "--set", "speed=9"]).bad(2).contains("speed"));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let mut child = command(&["types"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let mut err = String::new();
    child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
    assert_eq!((child.wait().unwrap().code(), err.as_str()), (Some(0), ""));
}

#[test]
fn a_disk_that_is_full_is_told() {
    if let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") {
        let output = command(&["types"]).stdout(full).output().unwrap();
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains("can't write the output"));
    }
}

#[test]
fn a_machine_that_nothing_can_be_done_with() {
    let nothing = file("nothing.toml", "format = 1\n[machine]\nname = \"Nothing\"\n");
    for arguments in [vec!["why", &nothing], vec!["play", &nothing], vec!["describe", &nothing]] {
        let ran = lampwise(&arguments);
        assert!((0..=2).contains(&ran.code), "{arguments:?}: {}", ran.err);
    }
}

#[test]
fn every_cut_of_a_file_gives_a_message_or_an_answer() {
    assert!(root().join("demos").is_dir());
    for end in (0..PRESS.len()).step_by(7) {
        let ran = lampwise(&["lint", &file("cut.toml", &PRESS[..end])]);
        assert!((0..=2).contains(&ran.code), "{end}: {}", ran.err);
    }
}

#[test]
fn files_that_are_no_machine_files_are_told_apart() {
    let utf16: Vec<u8> = [0xff, 0xfe].into_iter().chain(PRESS.bytes().flat_map(|byte| [byte, 0])).collect();
    let err = lampwise(&["lint", &file("utf16.toml", utf16)]).bad(2);
    assert!(err.contains("it is in UTF-16") && err.contains("as UTF-8"), "{err}");
    let err = lampwise(&["lint", &file("huge.toml", "# x\n".repeat(300_000))]).bad(2);
    assert!(err.contains("larger than 1 MB"), "{err}");
    let err = lampwise(&["draft", "no-such-list.csv"]).bad(2);
    assert!(!err.contains("lampwise demo"), "a list is no machine\n{err}");
    let err = lampwise(&["lint", &file("empty-library.toml", "")]).bad(2);
    assert!(err.contains("it is empty"), "{err}");
}

#[test]
fn hours_that_are_no_number_are_told_in_plain_words() {
    let err = lampwise(&["why", &press(), "--hours", "abc"]).bad(2);
    assert!(err.contains("this is no number of hours"), "{err}");
    lampwise(&["why", &press(), "--hours", "2,5"]).good();
}
