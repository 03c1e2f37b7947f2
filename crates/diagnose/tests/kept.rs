//! What was worked out is laid by and taken up again: with the same answers to the last digit, and never for anything
//! else than it was worked out for.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use diagnose::next::{Terms, advise};
use diagnose::{Alternative, Diagnoser, Shelf};
use machine::model::{Chance, Event};
use machine::{Choice, Source};
use sim::Options;
use std::collections::BTreeMap;
use std::sync::Mutex;

/// A shelf in memory that counts what it is given.
#[derive(Debug, Default)]
struct Memory(Mutex<(BTreeMap<String, Vec<u8>>, usize)>);

impl Shelf for Memory {
    fn take(&self, name: &str) -> Option<Vec<u8>> {
        self.0.lock().unwrap().0.get(name).cloned()
    }

    fn lay_by(&self, name: &str, bytes: &[u8]) {
        let mut inside = self.0.lock().unwrap();
        inside.0.insert(name.to_owned(), bytes.to_vec());
        inside.1 += 1;
    }
}

impl Memory {
    fn names(&self) -> Vec<String> {
        self.0.lock().unwrap().0.keys().cloned().collect()
    }

    /// How often something was laid by.
    fn given(&self) -> usize {
        self.0.lock().unwrap().1
    }

    fn change(&self, change: impl FnOnce(&mut Vec<u8>)) {
        change(self.0.lock().unwrap().0.values_mut().next().unwrap());
    }
}

fn alternatives(name: &str, choice: &Choice) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
    let resolved = reading.resolve(choice);
    assert!(!resolved.alternatives.is_empty(), "{name}");
    resolved.alternatives
}

fn from_shelf(alternatives: &[Alternative], shelf: &Memory) -> Diagnoser {
    Diagnoser::from_shelf(alternatives.to_vec(), &Circumstances::default(), &Options::default(), shelf)
}

/// Lamps at rest after the first actions of the routine, then the power off and on, and lamps once more.
fn evidence(diagnoser: &Diagnoser, moments: usize) -> Evidence {
    let machine = diagnoser.machine().unwrap();
    let places = machine
        .lamp_rows
        .iter()
        .enumerate()
        .flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column }));
    let lamps: Vec<LampReport> = places
        .enumerate()
        .map(|(number, place)| {
            let state = if number % 3 == 0 { LampState::Lit } else { LampState::Dark };
            LampReport { place, state, naming: Naming::Named }
        })
        .collect();
    let first = Moment { lamps: lamps.clone(), ..Moment::default() };
    let power = machine::model::HandMove::PowerCycle;
    let next = Moment { deeds: vec![Deed::Extra(power)], lamps: lamps[..3].to_vec(), ..Moment::default() };
    let all = [first, next];
    Evidence { complaint: Some(Complaint::WontStart), moments: all[..moments].to_vec(), ..Evidence::default() }
}

/// Everything that a diagnoser says, in all its digits.
fn said(diagnoser: &Diagnoser, moments: usize) -> String {
    let evidence = evidence(diagnoser, moments);
    let (answer, advice) = (diagnoser.answer(&evidence), advise(diagnoser, &evidence, &Terms::default()));
    format!("{answer:?}\n{advice:?}\n{:?}\n{:?}", diagnoser.extent(), diagnoser.marginals(&evidence))
}

#[test]
fn what_is_taken_up_again_says_the_same_to_the_last_digit() {
    for name in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        let alternatives = alternatives(name, &Choice::default());
        let shelf = Memory::default();
        let cold = from_shelf(&alternatives, &shelf);
        let warm = from_shelf(&alternatives, &shelf);
        assert_eq!((shelf.names().len(), shelf.given()), (1, 1), "{name}");
        for moments in [1, 2] {
            let expected = said(&cold, moments);
            assert!(expected.len() > 1000, "{name}");
            assert!(said(&warm, moments) == expected, "{name}");
        }
    }
}

#[test]
fn bytes_that_are_damaged_cut_off_or_of_another_machine_are_not_taken() {
    let (machine, shelf) = (alternatives("minimal", &Choice::default()), Memory::default());
    let expected = said(&from_shelf(&machine, &shelf), 1);
    let whole = shelf.take(&shelf.names()[0]).unwrap();
    let other = Memory::default();
    let _ = from_shelf(&alternatives("parts-washer", &Choice { serial: Some(1), ..Choice::default() }), &other);
    let of_another = other.take(&other.names()[0]).unwrap();
    let length = whole.len();
    let changes: Vec<Vec<u8>> = [0, 31, 32, 63, 64, 65, length / 2, length - 1]
        .into_iter()
        .map(|at| {
            let mut bytes = whole.clone();
            bytes[at] ^= 1;
            bytes
        })
        .chain([0, 1, 40, 64, length / 2, length - 1].map(|length| whole[..length].to_vec()))
        .chain([[&whole[..], &[0]].concat(), of_another, vec![0; length], b"something else".to_vec()])
        .collect();
    for (number, bytes) in changes.into_iter().enumerate() {
        let given = shelf.given();
        shelf.change(|kept| *kept = bytes);
        assert_eq!(said(&from_shelf(&machine, &shelf), 1), expected, "{number}");
        // It was worked out anew and stands there whole again.
        assert_eq!(shelf.given(), given + 1, "{number}");
        assert!(shelf.take(&shelf.names()[0]).unwrap() == whole, "{number}");
    }
}

#[test]
fn whatever_the_result_depends_on_has_a_name_of_its_own() {
    let shelf = Memory::default();
    let usual = alternatives("minimal", &Choice::default());
    let changed = |change: &dyn Fn(&mut machine::Machine)| {
        let mut changed = usual.clone();
        change(&mut changed[0].machine);
        changed
    };
    let first = |machine: &machine::Machine| machine.deviations.ids().next().unwrap();
    let machines = [
        usual.clone(),
        // A rate that was learned, in its last digit only.
        changed(&|machine| {
            let id = first(machine);
            let Chance::PerMillionHours(rate) = &mut machine.deviations[id].rate.chance else { panic!("a rate") };
            *rate = rate.next_up();
        }),
        changed(&|machine| machine.hours_since_well += 1.0),
        changed(&|machine| machine.scan_ms += 1),
        // What quotes could blur: two texts with the end of the one at the beginning of the other.
        changed(&|machine| (machine.name, machine.maker) = ("a\", maker: \"b".to_owned(), String::new())),
        changed(&|machine| (machine.name, machine.maker) = ("a".to_owned(), "b\", maker: \"".to_owned())),
    ];
    for machine in &machines {
        let _ = from_shelf(machine, &shelf);
    }
    let circumstances = [
        Circumstances { hours_since_well: Some(3.0), ..Circumstances::default() },
        Circumstances { recently: vec![Event::Moved], ..Circumstances::default() },
        Circumstances { once_in: Some(20.0), ..Circumstances::default() },
    ];
    for one in &circumstances {
        let _ = Diagnoser::from_shelf(usual.clone(), one, &Options::default(), &shelf);
    }
    let usually = Options::default();
    let options = [
        Options { least_pair: 0.0, ..usually },
        Options { pairs: false, ..usually },
        Options { before_power_on: 0.3, ..usually },
        Options { habits: sim::Habits { patience: 1, ..usually.habits }, ..usually },
    ];
    for one in &options {
        let _ = Diagnoser::from_shelf(usual.clone(), &Circumstances::default(), one, &shelf);
    }
    let all = machines.len() + circumstances.len() + options.len();
    assert_eq!((shelf.names().len(), shelf.given()), (all, all));
    assert!(shelf.names().iter().all(|name| name.len() == 64 && name.bytes().all(|digit| digit.is_ascii_hexdigit())));
    // Revisions and settings of one file.
    let washers = Memory::default();
    for revision in ["A", "B"] {
        let choice = Choice { revision: Some(revision.to_owned()), ..Choice::default() };
        let _ = from_shelf(&alternatives("parts-washer", &choice), &washers);
    }
    assert_eq!(washers.names().len(), 2);
}
