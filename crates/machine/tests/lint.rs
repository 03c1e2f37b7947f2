//! What lint says, word for word: each `tests/lint/NAME.toml` beside `NAME.txt`.
//! `UPDATE_EXPECT=1 cargo test -p machine --test lint` writes the expected texts anew.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};

use machine::{Source, is_library, lint_library, read};

fn files(folder: &str, extension: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut list: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|found| found == extension))
        .collect();
    list.sort();
    list
}

fn lint(path: &Path) -> String {
    let name = path.file_name().unwrap().to_string_lossy().to_string();
    let source = Source::new(name, fs::read_to_string(path).unwrap());
    let (sources, problems) = if is_library(&source) {
        lint_library(source, &[])
    } else {
        let reading = read(source, &[]);
        let problems = reading.lint();
        (reading.sources, problems)
    };
    let shown: Vec<String> = problems.iter().map(|problem| problem.render(&sources, false) + "\n").collect();
    shown.join("\n")
}

#[test]
fn every_mistake_is_found_and_named() {
    let mut wrong = Vec::new();
    for path in files("tests/lint", "toml") {
        let expected_path = path.with_extension("txt");
        let found = lint(&path);
        assert!(!found.is_empty(), "{} has no mistake", path.display());
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            fs::write(&expected_path, &found).unwrap();
        }
        let expected = fs::read_to_string(&expected_path).unwrap_or_default();
        if found != expected {
            wrong.push(format!("{}:\n--- expected\n{expected}\n--- found\n{found}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_demo_machines_have_no_mistakes() {
    let demos = files("../../demos", "toml");
    assert!(demos.len() >= 4);
    for path in demos {
        assert_eq!(lint(&path), "", "{}", path.display());
    }
}

/// The codes of what lint says about a text.
fn codes(text: String) -> Vec<&'static str> {
    read(Source::new("huge.toml", text), &[]).lint().iter().map(|problem| problem.code).collect()
}

const HEAD: &str = "format = 1\n[machine]\nname = \"Huge\"\n[inputs]\n";

#[test]
fn a_file_that_is_too_large_is_refused() {
    let points: String = (0..2_001).map(|n| format!("X{n} = {{ lit = \"a = b\" }}\n")).collect();
    assert!(codes(format!("{HEAD}{points}")).contains(&"too-large"));
    assert!(codes(format!("{HEAD}# {}", "x".repeat(1_000_000))).contains(&"too-large"));
}

#[test]
fn deep_nesting_is_a_message_and_no_overflow() {
    let deep = format!("{HEAD}X0 = {{ lit = \"{}a = b\" }}\n", "NOT (".repeat(50_000));
    assert!(codes(deep).contains(&"syntax"));
    let lists = format!("{HEAD}X0 = {}{}\n", "[".repeat(50_000), "]".repeat(50_000));
    assert!(codes(lists).contains(&"toml"));
}

#[test]
fn a_file_of_mistakes_only_lists_a_bounded_number() {
    let points: String = (0..1_900).map(|n| format!("X{n} = {{ lit = \"F{n} AND G{n}\" }}\n")).collect();
    let codes = codes(format!("{HEAD}{points}"));
    assert!(codes.contains(&"too-many-problems"));
    assert!(codes.len() <= machine::problem::MOST_PROBLEMS + 1, "{}", codes.len());
}
