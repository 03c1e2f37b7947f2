//! What is read, said again and read again is the same; and nothing that can
//! be typed brings a reader down.

use diagnose::evidence::{LampPlace, LampReport, LampState, Naming};
use diagnose::reading::{describe_lamps, read_lamps, render_mistakes};
use machine::Machine;
use proptest::prelude::*;

use super::bench;

fn state() -> impl Strategy<Value = LampState> {
    prop_oneof![Just(LampState::Lit), Just(LampState::Dark), Just(LampState::Flickers)]
}

fn places(machine: &Machine) -> Vec<LampPlace> {
    let rows = machine.lamp_rows.iter().enumerate();
    rows.flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column })).collect()
}

/// Each lamp named in some state or not reported.
fn named(machine: Machine) -> impl Strategy<Value = Vec<LampReport>> {
    let places = places(&machine);
    proptest::collection::vec(proptest::option::of(state()), places.len()).prop_map(move |states| {
        let reports = places.iter().zip(states);
        reports
            .filter_map(|(place, state)| Some(LampReport { place: *place, state: state?, naming: Naming::Named }))
            .collect()
    })
}

/// Each lamp named or one of the rest, in any state: also what nobody can say in one sentence.
fn anything(machine: Machine) -> impl Strategy<Value = Vec<LampReport>> {
    let places = places(&machine);
    let naming = prop_oneof![Just(Naming::Named), Just(Naming::Rest)];
    let each = proptest::option::of((state(), naming));
    proptest::collection::vec(each, places.len()).prop_map(move |said| {
        let reports = places.iter().zip(said);
        reports
            .filter_map(|(place, said)| said.map(|(state, naming)| LampReport { place: *place, state, naming }))
            .collect()
    })
}

/// Sentences made of what people say.
fn sentences() -> impl Strategy<Value = String> {
    let word = prop_oneof![
        3 => prop::sample::select(vec!["X0", "X3", "x 12", "Y1", "X0-X7", "Y0..Y2", "POWER", "B1", "door shut", "lift up", "7"]),
        2 => prop::sample::select(vec!["on", "off", "lit", "dark", "flickers", "not looked at", "aus", "leuchtet nicht"]),
        2 => prop::sample::select(vec![",", ";", "and", ":", "\n", ".", "-", "+", "="]),
        1 => prop::sample::select(vec![
            "rest", "all", "nothing", "inputs", "outputs", "except", "only", "not", "else", "of the", "lamps", "status",
            "steady", "?", "all others", "neither", "X99",
        ]),
    ];
    proptest::collection::vec(word, 0..14).prop_map(|words| words.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn named_lamps_are_said_and_read_again(reports in named(bench::sorter())) {
        let machine = bench::sorter();
        let text = describe_lamps(&machine, &reports);
        prop_assert_eq!(read_lamps(&machine, &text), Ok(reports), "{}", text);
    }

    #[test]
    fn odd_labels_are_said_and_read_again(reports in named(bench::odd_labels())) {
        let machine = bench::odd_labels();
        let text = describe_lamps(&machine, &reports);
        prop_assert_eq!(read_lamps(&machine, &text), Ok(reports), "{}", text);
    }

    #[test]
    fn the_states_survive_even_where_the_naming_can_not(reports in anything(bench::sorter())) {
        let machine = bench::sorter();
        let text = describe_lamps(&machine, &reports);
        let states = |reports: &[LampReport]| reports.iter().map(|one| (one.place, one.state)).collect::<Vec<_>>();
        let read = read_lamps(&machine, &text).map(|read| states(&read));
        prop_assert_eq!(read, Ok(states(&reports)), "{}", text);
    }

    #[test]
    fn what_is_read_is_said_and_read_again(text in sentences()) {
        let machine = bench::sorter();
        match read_lamps(&machine, &text) {
            Ok(reports) => {
                let again = describe_lamps(&machine, &reports);
                prop_assert_eq!(read_lamps(&machine, &again), Ok(reports), "{} -> {}", text, again);
            }
            Err(mistakes) => {
                prop_assert!(!mistakes.is_empty());
                for mistake in &mistakes {
                    prop_assert!(text.get(mistake.span.clone()).is_some());
                    prop_assert!(!mistake.hint.is_empty());
                }
                prop_assert!(render_mistakes("--lamps", &text, &mistakes, false).contains("help"));
            }
        }
    }

    #[test]
    fn any_text_gives_reports_or_mistakes(text in any::<String>()) {
        for machine in [bench::sorter(), bench::odd_labels(), Machine::default()] {
            if let Err(mistakes) = read_lamps(&machine, &text) {
                let _ = render_mistakes("--lamps", &text, &mistakes, true);
            }
        }
    }
}
