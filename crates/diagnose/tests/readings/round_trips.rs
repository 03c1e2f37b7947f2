//! What is read, said again and read again is the same; and nothing that can
//! be typed brings a reader down.

use diagnose::evidence::{CheckReport, Deed, LampPlace, LampReport, LampState, Naming, PositionReport};
use diagnose::reading::{
    LONGEST_TEXT, ReadingError, describe_checks, describe_deeds, describe_lamps, describe_positions, read_checks,
    read_complaint, read_deeds, read_lamps, read_positions, render_mistakes,
};
use machine::Machine;
use machine::id::{Id, MechanismId, RoutineId, SupplyId};
use machine::model::HandMove;
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

/// Each mechanism somewhere, between or not seen.
fn positions(machine: Machine) -> impl Strategy<Value = Vec<PositionReport>> {
    let each: Vec<_> = machine
        .mechanisms
        .iter()
        .map(|(mechanism, row)| {
            let count = row.positions.len();
            (0..=count + 1).prop_map(move |place| match place {
                place if place < count => Some(PositionReport { mechanism, position: u8::try_from(place).ok() }),
                place if place == count => Some(PositionReport { mechanism, position: None }),
                _ => None,
            })
        })
        .collect();
    each.prop_map(|reports| reports.into_iter().flatten().collect())
}

/// Any deeds on the sorter, in and out of the routine's order.
fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    let buttons = 6..9_usize;
    let movement = prop_oneof![
        (0..5_usize, 0..2_u8).prop_map(|(mechanism, place)| HandMove::Put(MechanismId::new(mechanism), place)),
        (buttons.clone(), prop_oneof![Just(500), 1..100_000_u64])
            .prop_map(|(button, ms)| HandMove::Press(MechanismId::new(button), ms)),
        buttons.clone().prop_map(|button| HandMove::Hold(MechanismId::new(button))),
        buttons.prop_map(|button| HandMove::LetGo(MechanismId::new(button))),
        (0..2_usize, any::<bool>()).prop_map(|(supply, there)| HandMove::Supply(SupplyId::new(supply), there)),
        Just(HandMove::PowerCycle),
        Just(HandMove::Wait),
    ];
    let deed = prop_oneof![
        1 => Just(Deed::Routine(None)),
        3 => (0..6_usize).prop_map(|action| Deed::Routine(Some(action))),
        3 => movement.prop_map(Deed::Extra),
    ];
    proptest::collection::vec(deed, 0..6)
}

/// Some checks, each with one of its answers.
fn checks(machine: Machine) -> impl Strategy<Value = Vec<CheckReport>> {
    let each: Vec<_> = machine
        .checks
        .iter()
        .map(|(check, row)| (0..=row.answers.len()).prop_map(move |answer| CheckReport { check, answer }))
        .collect();
    let counts: Vec<usize> = machine.checks.rows().map(|row| row.answers.len()).collect();
    each.prop_map(move |reports| {
        reports.into_iter().filter(|report| report.answer < counts[report.check.index()]).collect()
    })
}

/// Words that mean something to the readers of positions, deeds and answers, in any order.
fn chatter() -> impl Strategy<Value = String> {
    let word = prop::sample::select(vec![
        "lift",
        "nozzle",
        "table",
        "door",
        "lid",
        "jar",
        "start",
        "button",
        "F3",
        "air",
        "up",
        "down",
        "open",
        "shut",
        "between",
        "not",
        "neither",
        "nor",
        "pressed",
        "held",
        "for",
        "3",
        "s",
        "let go",
        "off",
        "on",
        "and",
        "then",
        "powered on",
        "power cycled",
        "nothing",
        "forgot",
        "besides",
        "action",
        "2",
        ",",
        ";",
        ":",
        "=",
        ".",
        "\n",
        "B1",
        "own-led",
        "terminal",
        "supply",
        "position",
        "yes",
        "no",
        "?",
        "halfway",
        "moved",
        "take",
        "out",
        "floor",
    ]);
    proptest::collection::vec(word, 0..12).prop_map(|words| words.join(" "))
}

/// Every mistake points into the text and says what to do.
fn well_formed(text: &str, mistakes: &[ReadingError]) {
    assert!(!mistakes.is_empty());
    for mistake in mistakes {
        assert!(text.get(mistake.span.clone()).is_some(), "{text:?}: {mistake:?}");
        assert!(!mistake.what.is_empty() && !mistake.hint.is_empty(), "{text:?}: {mistake:?}");
    }
    assert!(render_mistakes("here", text, mistakes, false).contains("help"));
}

/// Reads the text in every way; what is read is said and read again.
fn read_in_every_way(machine: &Machine, text: &str) {
    match read_positions(machine, text) {
        Ok(reports) => {
            let said = describe_positions(machine, &reports);
            assert_eq!(read_positions(machine, &said), Ok(reports), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
    let routine = RoutineId::new(0);
    match read_deeds(machine, routine, text) {
        Ok(deeds) => {
            let said = describe_deeds(machine, routine, &deeds);
            assert_eq!(read_deeds(machine, routine, &said), Ok(deeds), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
    match read_checks(machine, text) {
        Ok(reports) => {
            let said = describe_checks(machine, &reports);
            assert_eq!(read_checks(machine, &said), Ok(reports), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
    if let Err(mistakes) = read_complaint(text) {
        well_formed(text, &mistakes);
    }
}

#[test]
fn a_text_that_is_too_long_is_refused() {
    let machine = bench::sorter();
    let text = "ü".repeat(LONGEST_TEXT / 2 + 1);
    well_formed(&text, &read_lamps(&machine, &text).unwrap_err());
    well_formed(&text, &read_positions(&machine, &text).unwrap_err());
    well_formed(&text, &read_deeds(&machine, RoutineId::new(0), &text).unwrap_err());
    well_formed(&text, &read_checks(&machine, &text).unwrap_err());
    well_formed(&text, &read_complaint(&text).unwrap_err());
}

#[test]
fn the_longest_texts_are_read() {
    let machine = bench::sorter();
    for part in
        ["X0-X17 on ", "all off except X0; ", "rest of the ", "not ", "lift up ", "qqq ", "-", "B1 own-led ", "and "]
    {
        let text = part.repeat(LONGEST_TEXT / part.len());
        if let Err(mistakes) = read_lamps(&machine, &text) {
            well_formed(&text, &mistakes);
        }
        read_in_every_way(&machine, &text);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

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

    #[test]
    fn positions_are_said_and_read_again(reports in positions(bench::sorter())) {
        let machine = bench::sorter();
        let text = describe_positions(&machine, &reports);
        prop_assert_eq!(read_positions(&machine, &text), Ok(reports), "{}", text);
    }

    #[test]
    fn deeds_are_said_and_read_again(deeds in deeds()) {
        let machine = bench::sorter();
        let text = describe_deeds(&machine, RoutineId::new(0), &deeds);
        prop_assert_eq!(read_deeds(&machine, RoutineId::new(0), &text), Ok(deeds), "{}", text);
    }

    #[test]
    fn answers_are_said_and_read_again(reports in checks(bench::sorter())) {
        let machine = bench::sorter();
        let text = describe_checks(&machine, &reports);
        prop_assert_eq!(read_checks(&machine, &text), Ok(reports), "{}", text);
    }

    #[test]
    fn chatter_gives_reports_or_mistakes(text in chatter()) {
        read_in_every_way(&bench::sorter(), &text);
    }

    #[test]
    fn any_text_gives_reports_or_mistakes_of_every_kind(text in any::<String>()) {
        read_in_every_way(&bench::sorter(), &text);
        read_in_every_way(&Machine::default(), &text);
    }
}
