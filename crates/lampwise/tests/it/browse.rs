use crate::support::{lampwise, press};

#[test]
fn demos_are_listed_printed_and_saved() {
    let list = lampwise(&["demo"]).good();
    for name in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        assert!(list.contains(name));
        assert!(lampwise(&["demo", name]).good().contains("format = 1"));
    }
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("saved-demo.toml");
    _ = std::fs::remove_file(&path);
    lampwise(&["demo", "minimal", "--output", path.to_str().unwrap()]).good();
    assert_eq!(std::fs::read_to_string(path).unwrap(), lampwise(&["demo", "minimal"]).good());
    assert!(lampwise(&["demo", "maximal"]).bad(2).contains("there is: minimal"));
}

#[test]
fn a_machine_is_described() {
    insta::assert_snapshot!(lampwise(&["describe", &press()]).good());
}

#[test]
fn every_deviation_is_listed_with_its_key() {
    assert!(lampwise(&["describe", &press(), "--deviations"]).good().contains("X3/dead"));
}

#[test]
fn there_are_at_least_30_device_types_and_each_tells_all() {
    let types: serde_json::Value = serde_json::from_str(&lampwise(&["types", "--json"]).good()).unwrap();
    let types = types["types"].as_array().unwrap();
    assert!(types.len() >= 30, "{}", types.len());
    let one = types[0]["key"].as_str().unwrap();
    assert!(lampwise(&["types", one]).good().contains("What can fail"));
    assert!(lampwise(&["types", "reed-swich"]).bad(2).contains("did you mean `reed-switch`"));
}
