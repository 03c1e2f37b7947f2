use crate::support::{file, lampwise, root};

#[test]
fn the_draft_of_a_list_is_a_machine_file_with_marked_guesses() {
    let out = lampwise(&["draft", "demos/io-list.csv"]).good();
    assert!(out.contains("format = 1") && out.contains("please confirm"), "{out}");
}

#[test]
fn a_file_that_is_there_is_not_overwritten() {
    let there = file("there.toml", "mine");
    let err = lampwise(&["draft", "demos/io-list.csv", "--output", &there]).bad(2);
    assert!(err.contains("not overwritten"), "{err}");
    assert_eq!(std::fs::read_to_string(there).unwrap(), "mine");
}

#[test]
fn a_list_without_addresses_says_what_a_list_looks_like() {
    let err = lampwise(&["draft", &file("poem.csv", "roses are red\nviolets are blue\n")]).bad(2);
    assert!(err.contains("help: "), "{err}");
}

const SHEETS: &str = "crates/lampwise/tests/spreadsheets";

#[test]
fn a_sheet_by_its_name_gives_the_same_draft_from_both_kinds_of_spreadsheet() {
    let drafted = |name: &str| {
        lampwise(&["draft", &format!("{SHEETS}/{name}"), "--sheet", "io points"]).good().replace(".ods", ".xlsx")
    };
    let text = drafted("points.xlsx");
    assert_eq!(text, drafted("points.ods"));
    assert!(text.contains("lift = up") && text.contains("X0") && text.contains("17"), "{text}");
}

#[test]
fn without_a_name_it_is_the_first_sheet_and_what_is_wrong_with_it_is_told_of_it() {
    for name in ["points.xlsx", "points.ods"] {
        let err = lampwise(&["draft", &format!("{SHEETS}/{name}")]).bad(2);
        assert!(err.contains("sheet `Cover`: no column holds addresses"), "{err}");
    }
    let err = lampwise(&["draft", &format!("{SHEETS}/points.ods"), "--sheet", "Pints"]).bad(2);
    assert!(err.contains("no sheet `Pints`") && err.contains("`Cover`, `IO points`"), "{err}");
    let err = lampwise(&["draft", &format!("{SHEETS}/empty.xlsx")]).bad(2);
    assert!(err.contains("sheet `Nothing`: the list is empty"), "{err}");
    let err = lampwise(&["draft", "demos/io-list.csv", "--sheet", "Points"]).bad(2);
    assert!(err.contains("has no sheets"), "{err}");
}

#[test]
fn error_values_are_told_with_their_cell_and_only_where_they_matter() {
    let out = lampwise(&["draft", &format!("{SHEETS}/errors.xlsx"), "--json"]).good();
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["points"], 2);
    let left_out: Vec<&str> = json["left_out"].as_array().unwrap().iter().filter_map(|one| one.as_str()).collect();
    assert_eq!(
        left_out,
        ["sheet `Points`, cell C3: it shows #REF!", "sheet `Points`, row 5: H9 lamp without an address: no address"]
    );
}

#[test]
fn a_spreadsheet_that_is_larger_than_any_list_is_told_with_its_cell_and_not_unfolded() {
    let err = lampwise(&["draft", &format!("{SHEETS}/far.xlsx")]).bad(2);
    assert!(err.contains("sheet `Far` has more than 200 columns (cell XFD1048576)"), "{err}");
    let err = lampwise(&["draft", &format!("{SHEETS}/repeated.ods")]).bad(2);
    assert!(err.contains("filled cells"), "{err}");
}

#[test]
fn broken_spreadsheets_are_told_and_nothing_panics() {
    for name in ["points.xlsx", "points.ods"] {
        let whole = std::fs::read(root().join(SHEETS).join(name)).unwrap();
        let mut broken: Vec<Vec<u8>> = (1..8).map(|part| whole[..whole.len() * part / 8].to_vec()).collect();
        for at in (0..whole.len()).step_by(whole.len() / 40) {
            let mut one = whole.clone();
            one[at] ^= 0x5a;
            broken.push(one);
        }
        for (number, bytes) in broken.into_iter().enumerate() {
            let ran = lampwise(&["draft", &file(&format!("broken-{number}-{name}"), bytes), "--sheet", "IO points"]);
            assert!(matches!(ran.code, 0 | 2), "{name} {number}: {}", ran.err);
            assert!(!ran.err.contains("panicked"), "{name} {number}: {}", ran.err);
            assert!(ran.code == 0 || ran.err.contains("help: "), "{name} {number}: {}", ran.err);
        }
    }
}
