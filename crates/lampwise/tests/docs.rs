//! docs/machine-file.md shows what the program really prints: each command of a `console` block is run
//! on the files of the page. `UPDATE_EXPECT=1 cargo test -p lampwise --test docs` writes the output anew.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A line of the page's `toml mistake` block takes the place of the line with the same key.
fn with_mistakes(finished: &str, slips: &str) -> String {
    let key = |line: &str| line.split('=').next().unwrap_or_default().trim().to_owned();
    let slip_for = |line: &str| slips.lines().find(|slip| line.contains('=') && key(slip) == key(line));
    let lines: Vec<&str> = finished.lines().map(|line| slip_for(line).unwrap_or(line)).collect();
    for slip in slips.lines() {
        assert!(lines.contains(&slip), "no line of the finished file has the key of {slip}");
    }
    lines.join("\n") + "\n"
}

/// Saves the page's files; the finished file comes before those with mistakes.
fn save_files(page: &str, folder: &Path) {
    let mut finished = String::new();
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        let Some(mark) = line.strip_prefix("```toml ") else { continue };
        let body = lines.by_ref().take_while(|line| *line != "```").collect::<Vec<_>>().join("\n") + "\n";
        match mark.split_once(' ') {
            Some(("whole", name)) => {
                if name == "jar-capper.toml" {
                    finished.clone_from(&body);
                }
                fs::write(folder.join(name), body).unwrap();
            }
            Some(("mistake", name)) => fs::write(folder.join(name), with_mistakes(&finished, &body)).unwrap(),
            _ => {}
        }
    }
}

/// The words of a command line; quotes hold words together.
fn words(command: &str) -> Vec<String> {
    let parts = command.split('"').enumerate();
    let split = parts.flat_map(|(at, part)| match at % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect(),
        _ => vec![part.to_owned()],
    });
    split.collect()
}

/// What a command line of the page prints; `| head -n N` is understood.
fn printed(command: &str, folder: &Path) -> String {
    let (command, most) = match command.split_once(" | head -n ") {
        Some((command, most)) => (command, most.parse().unwrap()),
        None => (command, usize::MAX),
    };
    let words = words(command);
    assert_eq!(words.first().map(String::as_str), Some("lampwise"), "{command}");
    let mut program = Command::new(env!("CARGO_BIN_EXE_lampwise"));
    program.env("XDG_CACHE_HOME", Path::new(env!("CARGO_TARGET_TMPDIR")).join("caches"));
    let output = program.args(&words[1..]).current_dir(folder).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(!text.is_empty(), "{command}: {}", String::from_utf8_lossy(&output.stderr));
    text.lines().take(most).map(|line| format!("{line}\n")).collect()
}

#[test]
fn the_page_shows_what_the_program_prints() {
    let path: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/machine-file.md");
    let page = fs::read_to_string(&path).unwrap();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("machine-file-page");
    fs::create_dir_all(&folder).unwrap();
    save_files(&page, &folder);
    let mut right = String::new();
    let mut commands = 0;
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        right += &format!("{line}\n");
        if line != "```console" {
            continue;
        }
        for shown in lines.by_ref().take_while(|line| *line != "```") {
            if let Some(command) = shown.strip_prefix("$ ") {
                right += &format!("{shown}\n{}", printed(command, &folder));
                commands += 1;
            }
        }
        right += "```\n";
    }
    assert!(commands >= 3, "{commands} commands");
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        fs::write(&path, &right).unwrap();
        return;
    }
    for (line, (found, expected)) in page.lines().zip(right.lines()).enumerate() {
        assert_eq!(found, expected, "docs/machine-file.md, line {}", line + 1);
    }
    assert_eq!(page, right);
}
