//! Whatever a machine file holds: machines, problems, or both; never a panic,
//! and no machine without a problem said where a file is wrong.
#![no_main]

use libfuzzer_sys::fuzz_target;
use machine::{Choice, Problem, Source};

fuzz_target!(|text: &str| {
    let reading = machine::read(Source::new("fuzz.toml", text), &[]);
    let resolved = reading.resolve(&Choice::default());
    for problem in &resolved.problems {
        assert!(!problem.what.is_empty());
        let _ = problem.render(&reading.sources, false);
        let _ = problem.to_json(&reading.sources);
    }
    assert!(
        !resolved.alternatives.is_empty() || resolved.problems.iter().any(Problem::is_error),
        "neither a machine nor an error"
    );
    if !resolved.alternatives.is_empty() {
        let weight: f64 = resolved.alternatives.iter().map(|alternative| alternative.weight).sum();
        assert!((weight - 1.0).abs() < 1e-9, "the weights sum to {weight}");
    }
    for revision in reading.revisions().iter().take(4) {
        let _ = reading.resolve(&Choice { revision: Some(revision.name.clone()), ..Choice::default() });
    }
});
