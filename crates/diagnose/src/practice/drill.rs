//! Drills: a picture of lamps, and one question about it.

use super::order::shuffled;
use crate::diagnoser::Diagnoser;
use crate::evidence::LampState;
use crate::lamp_chart::ways;
use machine::Machine;
use machine::id::StepId;
use serde::Serialize;
use std::collections::BTreeSet;

/// What a drill asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DrillKind {
    /// In which step the machine is.
    Step,
    /// What the step waits for.
    WaitsFor,
}

impl DrillKind {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Step, Self::WaitsFor];

    /// The name by which it is chosen.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::WaitsFor => "waits-for",
        }
    }

    /// The question.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Step => "Which step is this?",
            Self::WaitsFor => "What does it wait for?",
        }
    }
}

/// One question about the lamps of a machine at which nothing is wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Drill {
    /// What is asked.
    pub kind: DrillKind,
    /// Its number.
    pub number: u64,
    /// How each lamp is, in the order of the panel.
    pub lamps: Vec<LampState>,
    /// What can be answered, from 2 to 4 answers.
    pub choices: Vec<String>,
    /// Which of them are right: lamps can leave more than one step possible.
    pub right: Vec<usize>,
    /// The step that it was.
    pub step: String,
    /// What tells: a few lamps by which this picture differs from those of all wrong answers.
    pub tells: Vec<String>,
}

/// Answers to choose among.
const CHOICES: usize = 4;

/// A moment of the undisturbed run: what the lamps show, and what is asked about it.
struct Picture {
    lamps: Vec<LampState>,
    step: String,
    answer: String,
}

impl Drill {
    /// The drill of this number. `None` for a machine whose steps give nothing to choose among.
    #[must_use]
    pub fn new(diagnoser: &Diagnoser, kind: DrillKind, number: u64) -> Option<Self> {
        let world = diagnoser.worlds().first()?;
        let machine = &world.machine;
        let layout = world.plant.layout();
        let mut pictures: Vec<Picture> = Vec::new();
        for routine in &world.routines {
            for (situation, truth) in routine.exploration.passing.iter().zip(&routine.passing) {
                let active: Vec<StepId> = machine.steps.ids().filter(|step| situation.on(layout.step(*step))).collect();
                // What has not begun says nothing about steps.
                let moving: Vec<StepId> = active
                    .into_iter()
                    .filter(|step| !machine.charts[machine.chart_of(*step)].initial.contains(step))
                    .collect();
                // Where two charts go on beside each other there is no one step.
                let [step] = moving[..] else { continue };
                let Some(answer) = answer(machine, kind, step) else { continue };
                let lamps = (0..world.panel.len()).map(|lamp| truth.state(lamp)).collect();
                if pictures.iter().all(|one| one.lamps != lamps || one.answer != answer) {
                    pictures.push(Picture { lamps, step: machine.step_name(step), answer });
                }
            }
        }
        let answers: Vec<&str> =
            pictures.iter().map(|one| one.answer.as_str()).collect::<BTreeSet<_>>().into_iter().collect();
        if answers.len() < 2 {
            return None;
        }
        // Who practises sees lamps: what shows the same is one picture, whatever step it is.
        let mut seen: Vec<&Picture> = Vec::new();
        for one in &pictures {
            if seen.iter().all(|known| known.lamps != one.lamps) {
                seen.push(one);
            }
        }
        let shown = seen[shuffled(number, seen.len())?];
        let mut dice = fastrand::Rng::with_seed(number);
        let mut others: Vec<&str> = answers.into_iter().filter(|answer| *answer != shown.answer).collect();
        dice.shuffle(&mut others);
        others.truncate(CHOICES - 1);
        let mut choices: Vec<&str> = others;
        choices.push(&shown.answer);
        dice.shuffle(&mut choices);
        let fits = |answer: &str| pictures.iter().any(|one| one.answer == answer && one.lamps == shown.lamps);
        let right = (0..choices.len()).filter(|number| fits(choices[*number])).collect();
        let wrong = pictures.iter().filter(|one| choices.contains(&one.answer.as_str()) && !fits(&one.answer));
        let tells = telling(&shown.lamps, wrong.map(|one| one.lamps.as_slice()).collect());
        let tells = tells.into_iter().map(|lamp| world.panel.label(lamp).to_owned()).collect();
        Some(Self {
            kind,
            number,
            lamps: shown.lamps.clone(),
            choices: choices.into_iter().map(str::to_owned).collect(),
            right,
            step: shown.step.clone(),
            tells,
        })
    }
}

/// The fewest lamps, or nearly so, by which a picture differs from all of these: each time the one by which it differs from
/// most of what is left.
fn telling(shown: &[LampState], mut others: Vec<&[LampState]>) -> Vec<usize> {
    let mut tells = Vec::new();
    let differs = |other: &[LampState], lamp: usize| other.get(lamp) != shown.get(lamp);
    while !others.is_empty() {
        let told = |lamp: usize| others.iter().filter(|other| differs(other, lamp)).count();
        // Of lamps that tell as much the first.
        let best = (0..shown.len()).rev().max_by_key(|lamp| told(*lamp)).filter(|lamp| told(*lamp) > 0);
        let Some(best) = best else { break };
        others.retain(|other| !differs(other, best));
        tells.push(best);
    }
    tells.sort_unstable();
    tells
}

fn answer(machine: &Machine, kind: DrillKind, step: StepId) -> Option<String> {
    match kind {
        DrillKind::Step => {
            let words = &machine.steps[step].words.english;
            let name = machine.step_name(step);
            // A step that has no words of its own is called by its name.
            let said = words.trim().trim_end_matches('.');
            Some(match name.replace('_', " ") {
                name if words.is_empty() || name.eq_ignore_ascii_case(said) => name,
                _ => format!("{name}: {words}"),
            })
        }
        DrillKind::WaitsFor => {
            let all: Vec<String> = ways(machine, step).map(|way| way.words(machine)).collect();
            (!all.is_empty()).then(|| all.join("; or "))
        }
    }
}
