//! More than two things wrong at once, where somebody asks for it. That their weights are exact is held against the
//! enumeration in another language (`brute_force.rs`, `more_at_once.jsonl`).
#![allow(clippy::unwrap_used, clippy::expect_used)]

use diagnose::Alternative;
use diagnose::call::{Ending, Entry, Kind, Session};
use diagnose::next::Terms;

fn session(entries: &[(Kind, &str)]) -> Session {
    let machine = machine::load_str("jar-filler.toml", include_str!("../../../demos/jar-filler.toml")).unwrap();
    let entries = entries.iter().map(|(kind, text)| Entry::new(*kind, text)).collect();
    let alternatives = vec![Alternative { weight: 1.0, choices: Vec::new(), machine }];
    Session::new(alternatives, None, Terms::default(), entries).unwrap().unwrap()
}

/// Door, tank and tray, each seen twice over.
const THREE: [(Kind, &str); 4] = [
    (Kind::Complaint, "won't start"),
    (Kind::Did, "press start"),
    (Kind::Lamps, "X3 X11-X13 on, X14 off, rest off"),
    (Kind::Saw, "door open, tank low, tray full"),
];

#[test]
fn three_lapses_that_were_all_seen_are_found_only_where_three_are_thought_of() {
    let mut session = session(&THREE);
    let two = session.now().answer.clone();
    assert!(two.larger_sets == 0 && two.together.iter().all(|set| set.words.len() == 2));
    session.add(vec![Entry::new(Kind::AtOnce, "3")]).unwrap();
    let three = session.now().answer.clone();
    let first = three.together.first().expect("several at once");
    assert!(first.words.len() == 3 && first.probability > 0.7, "{first:?}");
    assert!(three.not_in_file < two.not_in_file && three.left_out < two.left_out && three.larger_sets > 100);
    let finding = session.finding().cloned().unwrap();
    assert_eq!((finding.ending, finding.found.len()), (Ending::Two, 3));
    // After one of them is put right the other two are left.
    let remedy = "lapse/tank found low/make-good";
    session.add(vec![Entry::new(Kind::Tried, remedy), Entry::new(Kind::Runs, "no")]).unwrap();
    let left = |session: &Session, key: &str| -> f64 {
        let members = session.now().answer.causes.iter().flat_map(|cause| &cause.members);
        members.filter(|member| member.key == key).map(|member| member.probability).sum()
    };
    assert!(left(&session, "lapse/tray found full") > 0.8, "{}", left(&session, "lapse/tray found full"));
    assert!(!session.advice().proposals.is_empty());
    // Said once more it is two again, to the last digit.
    assert!(session.undo() && session.undo());
    session.replace(4, Entry::new(Kind::AtOnce, "2")).unwrap();
    assert_eq!(session.now().answer, two);
}

#[test]
fn where_two_explain_all_a_third_changes_no_probability_by_more_than_was_left_out() {
    let few = [
        (Kind::Complaint, "won't start"),
        (Kind::Did, "press start"),
        (Kind::Lamps, "X3 X12 X14 on, X11 on, rest off"),
    ];
    let mut session = session(&few);
    let two = session.now().answer.clone();
    session.add(vec![Entry::new(Kind::AtOnce, "3")]).unwrap();
    let three = &session.now().answer;
    for cause in &two.causes {
        let same = three.causes.iter().find(|one| one.words == cause.words).map_or(0.0, |one| one.probability);
        assert!(
            (same - cause.probability).abs() <= two.left_out + 0.005,
            "{} {same} {}",
            cause.words,
            cause.probability
        );
    }
    assert!((two.nothing_wrong - three.nothing_wrong).abs() <= two.left_out);
}

#[test]
fn a_number_that_makes_no_sense_is_told_and_changes_nothing() {
    let mut session = session(&THREE);
    let before = session.now().answer.clone();
    for wrong in ["1", "6", "many", ""] {
        assert!(session.add(vec![Entry::new(Kind::AtOnce, wrong)]).is_err(), "{wrong}");
    }
    assert_eq!(session.now().answer, before);
}
