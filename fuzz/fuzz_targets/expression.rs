//! Whatever stands in a string of a machine file: a value or a mistake that
//! points into the string, never a panic; and an expression that was read is
//! written such that it reads the same.
#![no_main]

use libfuzzer_sys::fuzz_target;
use machine::text::{Mistake, chance, effect, expression, hand, label_range, sentence, time};

fuzz_target!(|text: &str| {
    match expression::parse(text) {
        Ok(read) => {
            let written = read.to_string();
            let again = expression::parse(&written).expect("what is written can be read");
            assert_eq!(again.to_string(), written, "{text:?}");
        }
        Err(mistake) => well_formed(text, &mistake),
    }
    if let Err(mistake) = sentence::parse(text) {
        well_formed(text, &mistake);
    }
    if let Err(mistake) = hand::parse_hand(text) {
        well_formed(text, &mistake);
    }
    if let Err(mistake) = effect::parse_effect(text) {
        well_formed(text, &mistake);
    }
    for octal in [false, true] {
        if let Err(mistake) = label_range::expand(text, octal) {
            well_formed(text, &mistake);
        }
    }
    let _ = time::parse_time(text);
    if let Ok(chance) = chance::parse_chance(text) {
        assert!((0.0..=1.0).contains(&chance), "{text:?}");
    }
});

fn well_formed(text: &str, mistake: &Mistake) {
    assert!(text.get(mistake.range.clone()).is_some(), "{text:?}: {mistake:?}");
    assert!(!mistake.what.is_empty(), "{text:?}");
}
