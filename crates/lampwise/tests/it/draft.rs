use crate::support::{file, lampwise};

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
