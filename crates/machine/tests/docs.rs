//! docs/machine-file.md: its key tables are the reader's own, and its examples read without a mistake.
//! `UPDATE_EXPECT=1 cargo test -p machine --test docs` writes the key tables anew.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::path::{Path, PathBuf};

use machine::shape::{LIBRARY_FILE, MACHINE_FILE, Shape, WORDS_FILE, all_shapes};
use machine::{Reading, Source, read};

fn page_path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/machine-file.md")
}

fn page() -> String {
    fs::read_to_string(page_path()).unwrap()
}

fn shapes() -> Vec<&'static Shape> {
    let mut shapes: Vec<&'static Shape> = Vec::new();
    for shape in [&MACHINE_FILE, &LIBRARY_FILE, &WORDS_FILE].into_iter().flat_map(all_shapes) {
        if !shapes.iter().any(|known| known.name == shape.name) {
            shapes.push(shape);
        }
    }
    shapes
}

/// The keys of a shape as a Markdown table.
fn key_table(shape: &Shape) -> String {
    let mut text = "\n| key | what it says | for example |\n| --- | --- | --- |\n".to_string();
    for key in shape.keys {
        let must = if key.required { " (must be there)" } else { "" };
        let cell = |words: &str| words.replace('|', "\\|");
        text += &format!("| `{}`{must} | {} | `{}` |\n", key.name, cell(key.about), cell(key.example));
    }
    text + "\n"
}

const END: &str = "<!-- end of keys -->";

fn begin(shape: &Shape) -> String {
    format!("<!-- keys of {} -->", shape.name)
}

/// The page with every key table as it should be.
fn with_key_tables(page: &str) -> String {
    let mut page = page.to_string();
    for shape in shapes() {
        let begin = begin(shape);
        assert_eq!(page.matches(&begin).count(), 1, "the page needs one place for the keys of {}", shape.name);
        let from = page.find(&begin).unwrap() + begin.len();
        let to = from + page[from..].find(END).unwrap_or_else(|| panic!("{begin} has no end"));
        page.replace_range(from..to, &format!("\n{}", key_table(shape)));
    }
    page
}

#[test]
fn every_key_of_every_table_is_on_the_page() {
    let page = page();
    let right = with_key_tables(&page);
    if std::env::var_os("UPDATE_EXPECT").is_some() {
        fs::write(page_path(), &right).unwrap();
        return;
    }
    for (line, (found, expected)) in page.lines().zip(right.lines()).enumerate() {
        assert_eq!(found, expected, "docs/machine-file.md, line {}", line + 1);
    }
    assert_eq!(page, right);
}

/// The fenced blocks whose first word is `toml`: what stands behind that word, and the text.
fn toml_blocks(page: &str) -> Vec<(String, String)> {
    let mut blocks = Vec::new();
    let mut lines = page.lines();
    while let Some(line) = lines.next() {
        let Some(mark) = line.strip_prefix("```toml") else { continue };
        let body: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
        blocks.push((mark.trim().to_string(), body.join("\n") + "\n"));
    }
    blocks
}

fn complaints(name: &str, text: &str, libraries: &[Source]) -> String {
    let reading: Reading = read(Source::new(name, text), libraries);
    let shown: Vec<String> = reading.lint().iter().map(|problem| problem.render(&reading.sources, false)).collect();
    shown.join("\n\n")
}

/// The block marked `whole NAME`.
fn whole(blocks: &[(String, String)], name: &str) -> String {
    let mark = format!("whole {name}");
    blocks.iter().find(|(found, _)| *found == mark).unwrap_or_else(|| panic!("no block {mark}")).1.clone()
}

#[test]
fn every_whole_file_on_the_page_has_no_mistakes() {
    let blocks = toml_blocks(&page());
    let library = Source::new("shop-devices.toml", whole(&blocks, "shop-devices.toml"));
    let mut looked_at = 0;
    for (mark, text) in &blocks {
        let Some(name) = mark.strip_prefix("whole ").filter(|name| *name != "shop-devices.toml") else { continue };
        assert_eq!(complaints(name, text, std::slice::from_ref(&library)), "", "{name}");
        looked_at += 1;
    }
    assert!(looked_at >= 4, "{looked_at} whole files");
}

#[test]
fn the_finished_file_of_the_tutorial_is_the_demo() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demos/minimal.toml");
    assert_eq!(whole(&toml_blocks(&page()), "jar-capper.toml"), fs::read_to_string(demo).unwrap());
}

#[test]
fn what_the_tutorial_adds_fits_the_finished_file() {
    let blocks = toml_blocks(&page());
    let finished = whole(&blocks, "jar-capper.toml");
    let added: Vec<&(String, String)> = blocks.iter().filter(|(mark, _)| mark == "added").collect();
    assert!(added.len() >= 2);
    let mut all = finished.clone();
    for (_, text) in &added {
        let one = format!("{finished}\n{text}");
        assert_eq!(complaints("added.toml", &one, &[]), "", "{text}");
        all += &format!("\n{text}");
    }
    assert_eq!(complaints("added.toml", &all, &[]), "");
}

#[test]
fn every_other_example_is_at_least_toml() {
    for (mark, text) in toml_blocks(&page()) {
        if !mark.starts_with("mistake") {
            assert!(text.parse::<toml::Table>().is_ok(), "{mark}\n{text}");
        }
    }
}
