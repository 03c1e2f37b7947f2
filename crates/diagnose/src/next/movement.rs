//! Movement before words: what can move when something is done, found by doing it in the simulation
//! under every hypothesis that is not far-fetched.

use super::questions::movement_of;
use super::todo::ToDo;
use crate::diagnoser::Diagnoser;
use crate::hypothesis::{Hypothesis, sequence_effects};
use crate::renamed::{same_check, same_remedy};
use crate::wording::percent;
use machine::Machine;
use machine::model::{
    CheckRole, Energy, FaultEffect, Forced, HandMove, InputStage, Mechanism, MechanismClass, Observable, OutputStage,
};
use rayon::prelude::*;
use serde::Serialize;
use std::fmt;

/// Hypotheses of less weight than this are not tried out.
pub(super) const FAR_FETCHED: f64 = 1e-3;

/// Something that can move.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Movement {
    /// The mechanism's name in the machine file.
    pub mechanism: String,
    /// In words.
    pub words: String,
    /// Whether it can hurt somebody by moving; a lamp, a level or a temperature cannot.
    pub hazard: bool,
    /// Probability that it moves, of all hypotheses that were tried out.
    pub probability: f64,
}

impl Movement {
    fn of(mechanism: &Mechanism, probability: f64) -> Self {
        let words = match mechanism.words.english.as_str() {
            "" => mechanism.name.replace('_', " "),
            words => words.to_owned(),
        };
        Self { mechanism: mechanism.name.clone(), words, hazard: mechanism.moving_hazard, probability }
    }
}

/// Movements less probable than this are not named to somebody at the telephone.
const NAMED: f64 = 0.005;

/// What has to be told of what can move before something is done: what can hurt somebody by it, or else the rest.
#[derive(Clone, Debug, PartialEq)]
pub enum Announcement<'m> {
    /// These can move and hurt somebody.
    Moves(Vec<&'m Movement>),
    /// Nothing can hurt anybody; these can change.
    Changes(Vec<&'m Movement>),
}

impl<'m> Announcement<'m> {
    /// What is told of these movements; `None` if there is nothing to tell.
    ///
    /// ```
    /// use diagnose::next::{Announcement, Movement};
    /// let movement = |words: &str, hazard, probability| {
    ///     Movement { mechanism: words.to_owned(), words: words.to_owned(), hazard, probability }
    /// };
    /// let moved = [movement("chuck", true, 0.85), movement("bath temperature", false, 0.2)];
    /// let told = Announcement::of(&moved).unwrap();
    /// assert_eq!(told.to_string(), "This can move: chuck. Guards shut, everybody clear, before it is done.");
    /// assert!(told.with_probabilities().starts_with("This can move: chuck (85 %)."));
    /// assert_eq!(Announcement::of(&moved[1..]).unwrap().to_string(), "This can change: bath temperature.");
    /// ```
    #[must_use]
    pub fn of(movements: &'m [Movement]) -> Option<Self> {
        let (hazards, others): (Vec<_>, Vec<_>) = movements.iter().partition(|movement| movement.hazard);
        if hazards.is_empty() {
            (!others.is_empty()).then_some(Self::Changes(others))
        } else {
            Some(Self::Moves(hazards))
        }
    }

    /// What is likely enough to be named in a call, each with its probability.
    #[must_use]
    pub fn with_probabilities(&self) -> String {
        let likely = |movements: &[&'m Movement]| {
            let named: Vec<&Movement> = movements.iter().copied().filter(|one| one.probability >= NAMED).collect();
            list(&named, |one| format!("{} ({})", one.words, percent(one.probability)))
        };
        match self {
            Self::Moves(movements) => match likely(movements).as_str() {
                "" => "Something could move that hardly will. Guards shut, everybody clear.".to_owned(),
                named => moves(named),
            },
            Self::Changes(movements) => match likely(movements).as_str() {
                "" => "Nothing that can hurt anybody will move.".to_owned(),
                named => changes(named),
            },
        }
    }
}

impl fmt::Display for Announcement<'_> {
    /// All of it, as written down beforehand.
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Moves(movements) => out.write_str(&moves(&list(movements, |one| one.words.clone()))),
            Self::Changes(movements) => out.write_str(&changes(&list(movements, |one| one.words.clone()))),
        }
    }
}

fn list<'m>(movements: &[&'m Movement], words: impl Fn(&'m Movement) -> String) -> String {
    movements.iter().map(|one| words(one)).collect::<Vec<_>>().join(", ")
}

fn moves(what: &str) -> String {
    format!("This can move: {what}. Guards shut, everybody clear, before it is done.")
}

fn changes(what: &str) -> String {
    format!("This can change: {what}.")
}

/// What can move when this is done.
pub(crate) fn movements(diagnoser: &Diagnoser, hypotheses: &[Hypothesis], total: f64, to_do: &ToDo) -> Vec<Movement> {
    let worlds = diagnoser.worlds();
    if begins_anew(diagnoser, to_do) {
        return anything(&worlds[0].machine);
    }
    let tried: Vec<(f64, Vec<String>)> = hypotheses
        .par_iter()
        .filter(|one| one.weight >= FAR_FETCHED * total)
        .filter_map(|one| {
            let world = &worlds[one.world];
            let (made, put_right, movement) = what_happens(diagnoser, one, to_do)?;
            let (stood, latent) = one.stood(worlds)?;
            let exploration = &world.routines[one.routine].exploration;
            let mut moved: Vec<String> = Vec::new();
            for made in made {
                let ids = exploration.moved_by(&world.plant, &stood.1, &latent, &made, &put_right, movement);
                moved.extend(ids.into_iter().map(|id| world.machine.mechanisms[id].name.clone()));
            }
            moved.sort();
            moved.dedup();
            Some((one.weight / total, moved))
        })
        .collect();
    let machine = &worlds[0].machine;
    let mut found: Vec<Movement> = machine
        .mechanisms
        .rows()
        .filter_map(|mechanism| {
            let probability: f64 =
                tried.iter().filter(|(_, moved)| moved.contains(&mechanism.name)).map(|(weight, _)| weight).sum();
            (probability > 0.0).then(|| Movement::of(mechanism, probability))
        })
        .collect();
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    found
}

/// Whether this brings the machine to rest, wherever it stands, so that the routine begins anew: what was done to it
/// meanwhile can't be taken back.
fn begins_anew(diagnoser: &Diagnoser, to_do: &ToDo) -> bool {
    let (ToDo::Remedy(remedy), Some(machine)) = (to_do, diagnoser.machine()) else { return false };
    let mut cured = machine.deviations.rows().filter(|one| one.remedy == Some(*remedy));
    cured.any(|one| one.effects.iter().any(|effect| matches!(effect, FaultEffect::Unasked(_))))
}

/// All that can move by itself and hurt somebody.
fn anything(machine: &Machine) -> Vec<Movement> {
    let driven = machine.mechanisms.rows().filter(|row| row.class == MechanismClass::Driven && row.moving_hazard);
    driven.map(|row| Movement::of(row, 1.0)).collect()
}

/// What doing this comes to in the simulation: points made to come or go by hand, each by itself (an effect
/// like a fault's), effects put right, a hand's move. `None` if nothing that matters happens to the machine.
fn what_happens(
    diagnoser: &Diagnoser,
    one: &Hypothesis,
    to_do: &ToDo,
) -> Option<(Vec<Vec<FaultEffect>>, Vec<FaultEffect>, HandMove)> {
    let worlds = diagnoser.worlds();
    let world = &worlds[one.world];
    let machine = &world.machine;
    match to_do {
        ToDo::Check(check) => {
            let check = &machine.checks[same_check(diagnoser.machine()?, *check, machine)?];
            if check.role != CheckRole::Try || check.energy == Energy::Off {
                return None;
            }
            let made = match check.observes {
                Observable::InputStage(input, _) => [Forced::On, Forced::Off]
                    .map(|forced| vec![FaultEffect::Input(input, InputStage::Sensor, forced)])
                    .to_vec(),
                Observable::OutputStage(output, _) => [Forced::On, Forced::Off]
                    .map(|forced| vec![FaultEffect::Output(output, OutputStage::Valve, forced)])
                    .to_vec(),
                _ => return None,
            };
            Some((made, Vec::new(), HandMove::Wait))
        }
        ToDo::Remedy(remedy) => {
            let first = diagnoser.machine()?;
            let there = same_remedy(first, *remedy, machine);
            let cured = one
                .deviations
                .iter()
                .filter(|deviation| there.is_some() && machine.deviations[**deviation].remedy == there);
            let effects: Vec<FaultEffect> = cured.flat_map(|deviation| sequence_effects(world, *deviation)).collect();
            if let Some(does) = first.remedies[*remedy].does {
                return Some((vec![Vec::new()], effects, does));
            }
            // With the energy off it is done in peace; the machine moves when the power comes back.
            let off = first.remedies[*remedy].energy == Energy::Off;
            Some((vec![Vec::new()], effects, if off { HandMove::PowerCycle } else { HandMove::Wait }))
        }
        ToDo::Act(deed) => Some((vec![Vec::new()], Vec::new(), movement_of(world, one.routine, *deed)?)),
        ToDo::GoOn => {
            let actions = &machine.routines[world.routines[one.routine].routine].actions;
            let next = actions.get(usize::from(one.stage)).or_else(|| actions.last())?;
            Some((vec![Vec::new()], Vec::new(), next.movement))
        }
        ToDo::Lamp(_) | ToDo::Lamps | ToDo::Position(_) => None,
    }
}
