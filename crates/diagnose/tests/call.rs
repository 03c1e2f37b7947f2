//! A call as a list of entries: what is put right or taken back is worked out anew, as if it had been said so at once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::Alternative;
use diagnose::call::{Ending, Entry, Kind, Question, Session, Understood, entries_of};
use diagnose::evidence::{Deed, LampState};
use diagnose::next::{Terms, ToDo};
use machine::model::Who;

fn session(entries: &[(Kind, &str)]) -> Session {
    let machine = machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap();
    let entries = entries.iter().map(|(kind, text)| Entry::new(*kind, text)).collect();
    let alternatives = vec![Alternative { weight: 1.0, choices: Vec::new(), machine }];
    Session::new(alternatives, None, Terms::default(), entries).unwrap().unwrap()
}

const HEAD_UP_DARK: [(Kind, &str); 3] =
    [(Kind::Complaint, "won't start"), (Kind::Did, "press start"), (Kind::Lamps, "I1-I4 I7 on, I8 off, rest off")];

#[test]
fn a_call_begins_with_complaint_deeds_and_lamps_and_then_asks_the_best() {
    let mut session = session(&[]);
    for (question, entry) in [
        (Question::Complaint, Entry::new(Kind::Complaint, "won't start")),
        (Question::Did, Entry::new(Kind::Unknown, "did")),
        (Question::Lamps, Entry::new(Kind::Lamps, "I8 off, rest on")),
    ] {
        assert_eq!(session.question(), Some(question));
        session.add(vec![entry]).unwrap();
    }
    assert_eq!(session.question(), Some(Question::Proposal(0)));
}

#[test]
fn what_is_put_right_counts_as_if_it_had_been_said_at_once() {
    let right = session(&HEAD_UP_DARK);
    let mut wrong = session(&[HEAD_UP_DARK[0], HEAD_UP_DARK[1], (Kind::Lamps, "I1-I4 I7 I8 on, rest off")]);
    assert_ne!(wrong.now().answer, right.now().answer);
    wrong.replace(2, Entry::new(Kind::Lamps, HEAD_UP_DARK[2].1)).unwrap();
    assert_eq!(wrong.now().answer, right.now().answer);
    assert!(wrong.undo());
    assert_ne!(wrong.now().answer, right.now().answer);
    assert!(!wrong.undo());
}

#[test]
fn what_cannot_be_understood_changes_nothing() {
    let mut session = session(&HEAD_UP_DARK);
    let before = (session.entries().to_vec(), session.now().answer.clone());
    for entry in [
        Entry::new(Kind::Lamps, "I77 on"),
        Entry::new(Kind::Lamps, "I8 on"),
        Entry::new(Kind::Hours, "many"),
        Entry::new(Kind::Unknown, "check:nothing/at-all"),
        Entry::new(Kind::Routine, "dance"),
    ] {
        let mistakes = session.add(vec![entry.clone()]).unwrap_err();
        assert!(!mistakes.is_empty() && mistakes.iter().all(|one| !one.mistakes.is_empty()), "{entry}");
        assert_eq!((session.entries().to_vec(), session.now().answer.clone()), before, "{entry}");
    }
}

#[test]
fn an_act_begins_a_moment_and_a_second_look_does_too() {
    let mut session = session(&HEAD_UP_DARK);
    for (kind, text) in
        [(Kind::Again, "I8 on"), (Kind::Then, "power cycled"), (Kind::Tried, "I8/replace"), (Kind::Lamps, "I8 off")]
    {
        session.add(vec![Entry::new(kind, text)]).unwrap();
    }
    let moments = &session.now().evidence.moments;
    assert_eq!(moments.len(), 3);
    assert_eq!(moments[1].lamps[0].state, LampState::Lit);
    assert!(moments[1].deeds.is_empty());
    assert!(matches!(moments[2].deeds[..], [Deed::Extra(_)]) && moments[2].remedies.len() == 1);
}

#[test]
fn who_is_there_and_what_nobody_knows_are_the_terms() {
    let mut session = session(&HEAD_UP_DARK);
    let first = session.advice().proposals[0].clone();
    session.add(vec![session.leave_out(Kind::Cannot, Question::Proposal(0))]).unwrap();
    session.add(vec![Entry::new(Kind::Who, "technician")]).unwrap();
    assert_eq!(session.now().terms.left_out, [first.to_do]);
    assert_eq!(session.now().terms.caller, Who::Technician);
    assert!(session.advice().proposals.iter().all(|one| one.key != first.key));
}

#[test]
fn every_proposal_can_be_answered_by_the_number_of_each_answer() {
    let session = session(&HEAD_UP_DARK);
    for (number, proposal) in session.advice().proposals.iter().enumerate() {
        for answer in 1..=proposal.answers.len() {
            let understood = session.understand(Question::Proposal(number), &answer.to_string());
            let other = proposal.answers[answer - 1].key == "other";
            match understood {
                Understood::Entries(entries) => assert!(!entries.is_empty() && !other),
                Understood::AskMore(_) => assert!(other, "{}", proposal.key),
                Understood::Not { .. } => panic!("{} {answer}", proposal.key),
            }
        }
    }
}

/// Answers as a machine with a dead sensor I8 would, until the program knows.
#[test]
fn a_dead_sensor_is_found_and_its_remedy_confirmed() {
    let mut session = session(&HEAD_UP_DARK);
    session.add(vec![Entry::new(Kind::Who, "technician")]).unwrap();
    for _ in 0..12 {
        let Some(Question::Proposal(0)) = session.question() else { break };
        let proposal = session.advice().proposals[0].clone();
        let said = match proposal.to_do {
            ToDo::Remedy(_) if proposal.key == "remedy:I8/replace" => "it runs",
            ToDo::Remedy(_) | ToDo::GoOn => "as before",
            ToDo::Check(_) if proposal.key == "check:I8/own-led" => "off",
            ToDo::Position(_) if proposal.key == "position:head" => "up",
            _ => "?",
        };
        let entries = match session.understand(Question::Proposal(0), said) {
            Understood::Entries(entries) => entries,
            _ => vec![session.leave_out(Kind::Unknown, Question::Proposal(0))],
        };
        session.add(entries).unwrap();
        if session.finding().is_some_and(|finding| finding.ending == Ending::Runs) {
            break;
        }
    }
    let finding = session.finding().cloned().unwrap();
    assert_eq!(finding.ending, Ending::Runs, "{:#?}", session.entries());
    assert_eq!(finding.found[0].remedy.as_deref(), Some("I8/replace"));
    assert!(finding.found[0].keys.contains(&"I8/dead".to_owned()), "{finding:?}");
    assert_eq!(session.question(), None);
}

#[test]
fn a_remedy_that_did_not_help_makes_its_causes_improbable() {
    let mut session = session(&HEAD_UP_DARK);
    let share = |session: &Session| -> f64 {
        let members = session.now().answer.causes.iter().flat_map(|cause| &cause.members);
        members.filter(|member| member.remedy.as_deref() == Some("I8/replace")).map(|member| member.probability).sum()
    };
    let before = share(&session);
    session.add(vec![Entry::new(Kind::Tried, "I8/replace"), Entry::new(Kind::Runs, "no")]).unwrap();
    let after = share(&session);
    assert!(after < 0.3 * before && after > 0.0, "{before} {after}");
}

#[test]
fn what_was_ruled_out_names_the_entry_that_did_it() {
    let mut session = session(&HEAD_UP_DARK[..2]);
    session.add(vec![Entry::new(Kind::Lamps, HEAD_UP_DARK[2].1)]).unwrap();
    let ruled_out = session.ruled_out();
    assert!(!ruled_out.is_empty());
    assert!(ruled_out.iter().all(|one| one.now < one.before && one.entry < 3), "{ruled_out:?}");
    assert!(ruled_out.iter().any(|one| one.entry == 2));
}

#[test]
fn once_in_so_many_cycles_makes_loose_contacts_likelier_and_says_how_long_to_watch() {
    let always = session(&HEAD_UP_DARK[..2]);
    let mut sometimes = session(&HEAD_UP_DARK[..2]);
    sometimes.add(vec![Entry::new(Kind::Complaint, "won't start, 1 in 20 cycles")]).unwrap();
    assert_eq!(sometimes.now().evidence.once_in, Some(20.0));
    let share = |session: &Session, wanted: fn(&str) -> bool| -> f64 {
        let members = session.now().answer.causes.iter().flat_map(|cause| &cause.members);
        members.filter(|member| !member.lapse && wanted(&member.key)).map(|member| member.probability).sum()
    };
    // Of the faults; people forget a thing now and then, too.
    let loose = |session| share(session, |key| key.ends_with("/chatters")) / share(session, |_| true);
    assert!(loose(&sometimes) > 3.0 * loose(&always), "{} {}", loose(&sometimes), loose(&always));
    let (watches, cycle_ms) = sometimes.watch();
    assert!(cycle_ms > 1_000 && !watches.is_empty());
    for watch in watches.iter().filter(|watch| watch.seconds.is_some()) {
        assert!(watch.cycles.unwrap() as f64 >= watch.seconds.unwrap() * 1_000.0 / cycle_ms as f64 - 1e-6);
    }
}

#[test]
fn evidence_from_elsewhere_becomes_entries_that_say_the_same() {
    let mut original = session(&HEAD_UP_DARK);
    for (kind, text) in [
        (Kind::Saw, "head up"),
        (Kind::Again, "I8 off"),
        (Kind::Then, "power cycled"),
        (Kind::Lamps, "I8 flickers"),
        (Kind::Tried, "I8/replace"),
        (Kind::Runs, "no"),
        (Kind::Found, "I8/own-led: off"),
        (Kind::Hours, "12"),
    ] {
        original.add(vec![Entry::new(kind, text)]).unwrap();
    }
    let evidence = original.now().evidence.clone();
    let entries = entries_of(original.machine(), &evidence);
    let machine = original.machine().clone();
    let alternatives = vec![Alternative { weight: 1.0, choices: Vec::new(), machine }];
    let again = Session::new(alternatives, None, Terms::default(), entries).unwrap().unwrap();
    assert_eq!(again.now().evidence, evidence);
}

#[test]
fn a_second_look_at_two_dark_lamps_makes_two_faults_likelier_than_two_misreadings() {
    let mut session = session(&[
        (Kind::Complaint, "won't start"),
        (Kind::Did, "press start"),
        (Kind::Lamps, "I1 I3 I4 I7 on, I2 off, I8 off, rest off"),
        (Kind::Saw, "head up, jar in nest"),
    ]);
    let both = |session: &Session| session.now().answer.together.iter().map(|pair| pair.probability).sum::<f64>();
    let before = both(&session);
    session.add(vec![Entry::new(Kind::Again, "I2 off, I8 off")]).unwrap();
    let after = both(&session);
    assert!(after > 5.0 * before, "{before} {after}");
    session.add(vec![Entry::new(Kind::Again, "I2 off, I8 off")]).unwrap();
    let finding = session.finding().cloned().unwrap();
    assert_eq!(finding.ending, Ending::Two);
    assert!(finding.found.len() == 2 && finding.found.iter().all(|one| one.remedy.is_some()), "{finding:?}");
}

fn entries_of_answer(session: &Session, question: Question, said: &str) -> Vec<Entry> {
    match session.understand(question, said) {
        Understood::Entries(entries) => entries,
        other => panic!("{said}: {other:?}"),
    }
}

/// The proposal of this kind, asked with that of everything that could be proposed.
fn proposed(session: &Session, is_so: impl Fn(&ToDo) -> bool) -> Option<Question> {
    let proposals = &session.advice().proposals;
    proposals.iter().position(|one| is_so(&one.to_do)).map(Question::Proposal)
}

#[test]
fn as_before_is_the_last_reading_of_the_lamps_that_are_asked_for() {
    let mut session = session(&HEAD_UP_DARK[..2]);
    // Nothing was read before: that is said, with what is wanted.
    for said in ["as before", "The same.", "STILL THE SAME!"] {
        let Understood::Not { mistakes, .. } = session.understand(Question::Lamps, said) else { panic!("{said}") };
        assert!(mistakes[0].what.contains("were not read before"), "{mistakes:?}");
        assert!(mistakes[0].hint.contains("rest off"), "{mistakes:?}");
    }
    session.add(vec![Entry::new(Kind::Lamps, HEAD_UP_DARK[2].1), Entry::new(Kind::Then, "power cycled")]).unwrap();
    let lamps = session.now().evidence.moments[0].lamps.clone();
    session.add(entries_of_answer(&session, Question::Lamps, "as before")).unwrap();
    let moments = &session.now().evidence.moments;
    let states = |lamps: &[diagnose::evidence::LampReport]| -> Vec<_> {
        lamps.iter().map(|one| (one.place, one.state)).collect()
    };
    assert_eq!(states(&moments[1].lamps), states(&lamps));
    assert_eq!(moments[1].runs, None);
    // Now all of them were read again.
    assert!(matches!(session.understand(Question::Lamps, "as before"), Understood::Not { .. }));
}

#[test]
fn as_before_means_what_the_question_asks() {
    let mut session = session(&HEAD_UP_DARK);
    session.add(vec![Entry::new(Kind::Who, "technician")]).unwrap();
    for question in [Question::Complaint, Question::Did] {
        let Understood::Not { text, mistakes } = session.understand(question, "as before") else {
            panic!("{question:?}")
        };
        assert_eq!((text.as_str(), mistakes[0].span.clone()), ("as before", 0..9));
        assert!(!mistakes[0].hint.is_empty());
    }
    let mut seen = 0;
    for _ in 0..20 {
        if let Some(question) = proposed(&session, |one| matches!(one, ToDo::Remedy(_) | ToDo::GoOn)) {
            let entries = entries_of_answer(&session, question, "The same.");
            assert_eq!(entries[1], Entry::new(Kind::Runs, "no"));
            seen |= 1;
        }
        if let Some(question) = proposed(&session, |one| matches!(one, ToDo::Act(_))) {
            let entries = entries_of_answer(&session, question, "no change");
            assert_eq!(entries[0].kind, Kind::Then);
            assert!(entries.iter().all(|one| one.kind != Kind::Runs));
            seen |= 2;
        }
        if let Some(question) = proposed(&session, |one| matches!(one, ToDo::Check(_) | ToDo::Position(_))) {
            let Understood::Not { mistakes, .. } = session.understand(question, "as before") else { panic!() };
            assert!(mistakes[0].hint.contains("the answers are: 1 "), "{mistakes:?}");
            seen |= 4;
        }
        if seen == 7 || session.question().is_none() {
            break;
        }
        let left_out = session.leave_out(Kind::Unknown, Question::Proposal(0));
        session.add(vec![left_out]).unwrap();
    }
    assert_eq!(seen & 5, 5, "{seen}");
}

/// What a technician types without reading what there is to choose. Everything is understood, or told with what is wanted.
const TYPED: [&str; 26] = [
    "yes",
    "no",
    "Y",
    "n.",
    "don't know",
    "dunno",
    "SKIP",
    "as before",
    "the same",
    "lit",
    "DARK.",
    "on",
    "Off.",
    "1",
    "2.",
    "3",
    "99",
    "0",
    "-1",
    "can't",
    "none",
    "?",
    "...",
    "nothing",
    "all dark",
    "äöü",
];

#[test]
fn every_question_understands_a_natural_answer_or_says_what_it_wants() {
    let mut session = session(&[]);
    let mut kinds = std::collections::BTreeSet::new();
    for _ in 0..12 {
        let Some(first) = session.question() else { break };
        let count = session.advice().proposals.len();
        let all = std::iter::once(first).chain((0..count).map(Question::Proposal));
        for question in all {
            kinds.insert(session.key(question).split(':').next().unwrap_or_default().to_owned());
            for said in TYPED {
                match session.understand(question, said) {
                    Understood::Entries(entries) => {
                        let mut after = session.entries().to_vec();
                        after = diagnose::call::added(&after, entries);
                        assert!(after.len() > session.entries().len(), "{said}: {}", session.key(question));
                    }
                    Understood::AskMore(more) => assert!(more.ends_with(['.', '?']), "{more}"),
                    Understood::Not { text, mistakes } => {
                        let one = &mistakes[0];
                        assert!(
                            one.span.end <= text.len() && !one.what.is_empty() && !one.hint.is_empty(),
                            "{said}: {one:?}"
                        );
                    }
                }
            }
        }
        let said = match first {
            Question::Complaint => Entry::new(Kind::Complaint, "wont-start"),
            Question::Did => Entry::new(Kind::Did, "press start"),
            Question::Lamps => Entry::new(Kind::Lamps, HEAD_UP_DARK[2].1),
            Question::Proposal(_) => session.leave_out(Kind::Unknown, first),
        };
        session.add(vec![said]).unwrap();
    }
    assert!(kinds.len() >= 6, "{kinds:?}");
}

/// Whoever answers everything in the same way comes to an end: no question is asked for ever.
#[test]
fn no_question_is_asked_for_ever_with_the_same_answer() {
    for said in ["yes", "no", "dunno", "as before", "lit", "dark", "1", "2", "3", "none"] {
        let mut session = session(&HEAD_UP_DARK);
        let mut asked: Vec<String> = Vec::new();
        for _ in 0..25 {
            let Some(question) = session.question() else { break };
            let entries = match session.understand(question, said) {
                Understood::Entries(entries) => entries,
                // It was told what is wanted; a caller who does not know it either says so.
                _ => vec![session.leave_out(Kind::Unknown, question)],
            };
            asked.push(session.key(question));
            if session.add(entries).is_err() {
                let left_out = session.leave_out(Kind::Unknown, question);
                session.add(vec![left_out]).unwrap();
            }
        }
        // After something was done it may be looked again; the same remedy may have failed once.
        let is_done = |key: &String| key.starts_with("remedy:") || key.starts_with("do:") || key == "go-on";
        for between in asked.split(is_done) {
            let different: std::collections::BTreeSet<&String> = between.iter().collect();
            assert_eq!(different.len(), between.len(), "{said}: {asked:?}");
        }
        for key in asked.iter().filter(|key| is_done(key)) {
            let times = asked.iter().filter(|one| *one == key).count();
            assert!(times <= 3, "{said}: {key} is asked {times} times: {asked:?}");
        }
    }
}
