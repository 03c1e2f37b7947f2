//! What can be done at the machine of an exercise, with its minutes.

use crate::evidence::{Deed, LampPlace};
use crate::next::{ACT_MINUTES, LAMP_MINUTES, LAMPS_MINUTES, POSITION_MINUTES, ToDo};
use crate::wording;
use machine::Machine;
use machine::caution::{Caution, Doing};
use machine::id::DeviceId;
use machine::model::{HandMove, MechanismClass, Remedy};
use serde::Serialize;

/// What an offer is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// Looking at lamps.
    Lamps,
    /// Looking where things stand.
    Positions,
    /// Working the machine.
    Hands,
    /// A check.
    Checks,
    /// Putting something right.
    Remedies,
}

/// Something that can be done.
#[derive(Clone, Debug)]
pub struct Offer {
    /// What.
    pub to_do: ToDo,
    /// Its key, see [`ToDo::key`].
    pub key: String,
    /// What it is about.
    pub group: Group,
    /// The device that it is about.
    pub device: Option<DeviceId>,
    /// In words.
    pub words: String,
    /// Minutes that it takes.
    pub minutes: f64,
    /// What to be careful of at a real machine.
    pub cautions: Vec<Caution>,
}

/// Everything that can be done at this machine, in the order of the file.
pub(super) fn offers(machine: &Machine, trial_minutes: f64) -> Vec<Offer> {
    let mut all = Vec::new();
    let mut put = |to_do: ToDo, group, device, words: String, minutes, cautions| {
        all.push(Offer { key: to_do.key(machine), to_do, group, device, words, minutes, cautions });
    };
    put(ToDo::Lamps, Group::Lamps, None, "read all lamps".to_owned(), LAMPS_MINUTES, Vec::new());
    for (place, lamp) in LampPlace::all(machine) {
        let words = format!("look at lamp {}", lamp.label);
        put(ToDo::Lamp(place), Group::Lamps, None, words, LAMP_MINUTES, Vec::new());
    }
    for (mechanism, row) in machine.mechanisms.iter() {
        // A button is where the hand has left it.
        if row.class != MechanismClass::Button {
            let words = format!("look where it stands: {}", row.words.english);
            put(ToDo::Position(mechanism), Group::Positions, None, words, POSITION_MINUTES, Vec::new());
        }
    }
    for (movement, words) in movements(machine) {
        let cautions = Doing::of_hand(machine, movement).cautions();
        put(ToDo::Act(Deed::Extra(movement)), Group::Hands, None, words, ACT_MINUTES, cautions);
    }
    for (check, row) in machine.checks.iter() {
        let doing = Doing::of_check(machine, row);
        if doing.forbidden().is_empty() {
            let words = row.technician.english.clone();
            put(ToDo::Check(check), Group::Checks, row.device, words, row.minutes, doing.cautions());
        }
    }
    for (remedy, row) in machine.remedies.iter() {
        let doing = Doing::of_remedy(machine, row);
        if doing.forbidden().is_empty() {
            let minutes = row.minutes + trial_minutes;
            put(
                ToDo::Remedy(remedy),
                Group::Remedies,
                row.device,
                remedy_words(machine, row),
                minutes,
                doing.cautions(),
            );
        }
    }
    all
}

/// A remedy, with its device where its own words don't name it: of several valves one is to be replaced.
pub(super) fn remedy_words(machine: &Machine, remedy: &Remedy) -> String {
    let words = &remedy.words.english;
    match remedy.device.and_then(|device| machine.devices.get(device)) {
        Some(device) if !wording::says(words, &device.name) => {
            format!("{}: {words}", device.name.replace('_', " "))
        }
        _ => words.clone(),
    }
}

/// What hands do in the routines, each once, and switching off and on.
fn movements(machine: &Machine) -> Vec<(HandMove, String)> {
    let mut all: Vec<(HandMove, String)> = Vec::new();
    for action in machine.routines.rows().flat_map(|routine| &routine.actions) {
        if all.iter().all(|(known, _)| *known != action.movement) {
            all.push((action.movement, action.words.english.clone()));
        }
    }
    let cycle = HandMove::PowerCycle;
    if all.iter().all(|(known, _)| *known != cycle) {
        all.push((cycle, wording::POWER_CYCLE.to_owned()));
    }
    all
}
