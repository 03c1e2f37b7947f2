//! What a healthy machine does in a procedure: the lamps after each step and the
//! movements in it. Each machine is played as it is, with all travel as slow and
//! people as hasty as allowed, and the other way round; what differs between
//! these, or between the alternatives of the file, is said to vary.

use super::WAITING_PERCENT;
use super::routine::{as_routine, only_routine};
use crate::evidence::{LampPlace, LampState};
use crate::panel::Panel;
use machine::Machine;
use machine::id::{MechanismId, ProcedureId, SupplyId};
use machine::model::{HandMove, LampKind, MechanismClass, SupplyKind};
use sim::{Cause, Instant, Limits, Plant, Playback, Situation, Stop, play};

/// Positions that are told of one movement; a machine that goes round would have no end of them.
const MOST_TOLD: usize = 6;

/// How a lamp is due after a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Due {
    /// It must be lit.
    Lit,
    /// It must be dark.
    Dark,
    /// It must blink or flicker.
    Blinks,
    /// It may be as it will.
    MayVary,
}

/// A lamp after a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LampDue {
    /// Which lamp.
    pub place: LampPlace,
    /// The label beside it.
    pub label: String,
    /// What it means when it is lit; empty for status lamps and spare ones.
    pub words: String,
    /// How it is due.
    pub due: Due,
    /// Whether that is another state than before the step.
    pub changed: bool,
    /// Whether the machine file names it for this step.
    pub named: bool,
}

/// A mechanism that moves by itself within a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Movement {
    /// Which.
    pub mechanism: MechanismId,
    /// Where it stands before; none: between its positions.
    pub from: Option<u8>,
    /// Where it goes one after the other; the last is where it stands afterwards, none: between.
    pub to: Vec<Option<u8>>,
    /// Whether its movement can hurt somebody.
    pub hazard: bool,
}

impl Movement {
    /// For people: "half-turn table, from loading to filling and then to loading".
    #[must_use]
    pub fn words(&self, machine: &Machine) -> String {
        let Some(row) = machine.mechanisms.get(self.mechanism) else { return String::new() };
        let place = |at: Option<u8>| {
            at.and_then(|at| row.positions.get(usize::from(at)))
                .map_or_else(|| "between its positions".to_owned(), |name| name.replace('_', " "))
        };
        // Where it turns back at once it never stands, so only the way is known.
        if self.to == [self.from] {
            let away = match (self.from, row.positions.len()) {
                (Some(from @ 0..=1), 2) => format!("towards {}", place(Some(1 - from))),
                _ => "away".to_owned(),
            };
            return format!("{}, from {} {away} and back", row.words.english, place(self.from));
        }
        let to: Vec<String> = self.to.iter().take(MOST_TOLD).map(|at| place(*at)).collect();
        let more = if self.to.len() > MOST_TOLD { " and so on" } else { "" };
        format!("{}, from {} to {}{more}", row.words.english, place(self.from), to.join(", then to "))
    }
}

/// What a healthy machine does in one step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepCourse {
    /// What moves by itself, in the order in which it begins to.
    pub movements: Vec<Movement>,
    /// Air, vacuum or water that comes on by itself.
    pub comes_on: Vec<SupplyId>,
    /// All lamps afterwards, in the order of the panel.
    pub lamps: Vec<LampDue>,
    /// How long it takes until nothing changes any more, or until the time to wait is over, ms.
    pub takes_ms: u64,
    /// Whether the machine comes to rest, or goes round steadily, as it should.
    pub rests: bool,
}

impl StepCourse {
    /// The lamp at this place.
    #[must_use]
    pub fn lamp(&self, place: LampPlace) -> Option<&LampDue> {
        self.lamps.iter().find(|lamp| lamp.place == place)
    }

    /// Whether anything moves that can hurt somebody.
    #[must_use]
    pub fn is_dangerous(&self) -> bool {
        !self.comes_on.is_empty() || self.movements.iter().any(|movement| movement.hazard)
    }
}

/// What a healthy machine does in a procedure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Course {
    /// The steps.
    pub steps: Vec<StepCourse>,
}

impl Course {
    /// Plays a procedure on each of these machines: the alternatives of one file, the first of which names things.
    ///
    /// ```
    /// use diagnose::procedure::{Course, Due};
    /// use machine::id::{Id, ProcedureId};
    /// let text = r#"
    /// format = 1
    /// [machine]
    /// name = "Press"
    /// [inputs]
    /// X1 = { lit = "start = pressed" }
    /// X2 = { lit = "ram = up" }
    /// X3 = { lit = "ram = down" }
    /// [charts.press]
    /// start = "start = pressed"
    /// needs = ["ram = up"]
    /// [charts.press.steps]
    /// lower = "do ram down until ram = down"
    /// raise = "do ram up until ram = up"
    /// [procedures.stroke]
    /// steps = [{ do = "press start", words = "Press start." }]
    /// "#;
    /// let machine = machine::load_str("press.toml", text).unwrap();
    /// let course = Course::new(&[&machine], ProcedureId::new(0));
    /// assert_eq!(course.steps[0].movements[0].words(&machine), "ram, from up towards down and back");
    /// assert_eq!(course.steps[0].lamps[1].due, Due::Lit);
    /// ```
    #[must_use]
    pub fn new(machines: &[&Machine], procedure: ProcedureId) -> Self {
        let Some(first) = machines.first() else { return Self { steps: Vec::new() } };
        let Some(row) = first.procedures.get(procedure) else { return Self { steps: Vec::new() } };
        let count = row.steps.len();
        let runs: Vec<Run> = machines
            .iter()
            .flat_map(|machine| Pace::ALL.map(|pace| Run::new(machine, procedure, count, pace)))
            .collect();
        let steps = (0..count).map(|step| step_course(first, procedure, step, &runs)).collect();
        Self { steps }
    }
}

/// How fast the machine and the people are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pace {
    AsUsual,
    SlowMachine,
    FastMachine,
}

impl Pace {
    const ALL: [Self; 3] = [Self::AsUsual, Self::SlowMachine, Self::FastMachine];

    fn travel_ms(self, ms: u64, tolerance_percent: u32) -> u64 {
        let tolerance = u64::from(tolerance_percent);
        match self {
            Self::AsUsual => ms,
            Self::SlowMachine => ms.saturating_mul(100 + tolerance) / 100,
            Self::FastMachine => ms.saturating_mul(100_u64.saturating_sub(tolerance)) / 100,
        }
    }

    fn wait_ms(self, ms: u64) -> u64 {
        match self {
            Self::AsUsual => ms,
            Self::SlowMachine => ms.saturating_mul(100 - WAITING_PERCENT) / 100,
            Self::FastMachine => ms.saturating_mul(100 + WAITING_PERCENT) / 100,
        }
    }
}

/// One play of the procedure.
struct Run {
    plant: Plant,
    panel: Panel,
    machine: Machine,
    playback: Playback,
}

impl Run {
    fn new(machine: &Machine, procedure: ProcedureId, steps: usize, pace: Pace) -> Self {
        let mut machine = as_routine(machine, procedure, steps);
        for (_, mechanism) in machine.mechanisms.iter_mut() {
            for step in &mut mechanism.moves {
                step.takes_ms = pace.travel_ms(step.takes_ms, step.tolerance_percent);
            }
        }
        for (_, routine) in machine.routines.iter_mut() {
            for action in &mut routine.actions {
                action.wait_ms = action.wait_ms.map(|ms| pace.wait_ms(ms));
            }
        }
        let plant = Plant::new(&machine);
        let playback = play(&machine, &plant, only_routine(), &[], Limits::default(), None);
        Self { panel: Panel::new(&machine), plant, machine, playback }
    }

    /// The instant before a step's hand acts, and all those in the step.
    fn instants(&self, step: usize) -> (Option<&Instant>, &[Instant]) {
        let all = &self.playback.instants;
        let at = |step: usize| all.iter().position(|one| one.cause == Cause::Hand(step));
        let Some(from) = at(step) else { return (None, &[]) };
        let to = at(step + 1).unwrap_or(all.len());
        (from.checked_sub(1).map(|before| &all[before]), &all[from..to])
    }

    fn stop(&self, step: usize) -> Option<Stop> {
        self.playback.stops.get(step + 1).copied()
    }

    /// How each lamp is at the end of a step; before the first step with `None`.
    fn lamps(&self, step: Option<usize>) -> Vec<Due> {
        let (end, passing) = match step {
            Some(step) => {
                let (_, instants) = self.instants(step);
                (instants.last(), self.round(step, instants))
            }
            None => (self.instants(0).0, &[][..]),
        };
        let Some(end) = end else { return vec![Due::MayVary; self.panel.len()] };
        let due = |situation: &Situation| -> Vec<Due> {
            let truth = self.panel.truth(&self.plant, situation);
            let state = |lamp| match truth.state(lamp) {
                LampState::Lit => Due::Lit,
                LampState::Dark => Due::Dark,
                LampState::Flickers => Due::Blinks,
            };
            (0..self.panel.len()).map(state).collect()
        };
        let mut lamps = due(&end.situation);
        for instant in passing {
            vary(&mut lamps, &due(&instant.situation));
        }
        lamps
    }

    /// Where a machine goes round by itself at the end of a step: the instants of the last round.
    fn round<'i>(&self, step: usize, instants: &'i [Instant]) -> &'i [Instant] {
        let (Some(Stop::Cycling), Some((end, before))) = (self.stop(step), instants.split_last()) else { return &[] };
        let from = before.iter().rposition(|one| one.situation == end.situation).unwrap_or(0);
        &instants[from..]
    }
}

/// Lamps that differ vary.
fn vary(lamps: &mut [Due], other: &[Due]) {
    for (lamp, other) in lamps.iter_mut().zip(other) {
        if lamp != other {
            *lamp = Due::MayVary;
        }
    }
}

fn merged(runs: &[Run], step: Option<usize>) -> Vec<Due> {
    let mut all = runs.iter().map(|run| run.lamps(step));
    let mut lamps = all.next().unwrap_or_default();
    all.for_each(|other| vary(&mut lamps, &other));
    lamps
}

fn step_course(machine: &Machine, procedure: ProcedureId, step: usize, runs: &[Run]) -> StepCourse {
    let before = merged(runs, step.checked_sub(1));
    let after = merged(runs, Some(step));
    let row = machine.procedures.get(procedure).and_then(|row| row.steps.get(step));
    let mut lamps = Vec::new();
    for (number, (place, lamp)) in LampPlace::all(machine).enumerate() {
        let named = row.is_some_and(|row| row.expect.iter().any(|(one, _)| super::judge::is_lamp(one, &lamp.kind)));
        lamps.push(LampDue {
            place,
            label: lamp.label.clone(),
            words: lamp_words(machine, &lamp.kind),
            due: after.get(number).copied().unwrap_or(Due::MayVary),
            changed: before.get(number) != after.get(number),
            named,
        });
    }
    let usual = runs.first();
    let takes_ms = usual.map_or(0, |run| {
        let (_, instants) = run.instants(step);
        let begun = instants.first().map_or(0, |one| one.at_ms);
        let settled = instants.last().map_or(0, |one| one.at_ms).saturating_sub(begun);
        row.and_then(|row| row.wait_ms).unwrap_or(settled)
    });
    let rests = runs.iter().all(|run| matches!(run.stop(step), Some(Stop::Standing | Stop::Cycling)));
    StepCourse {
        movements: movements(runs, step, row.map(|row| row.movement)),
        comes_on: comes_on(runs, step),
        lamps,
        takes_ms,
        rests,
    }
}

fn lamp_words(machine: &Machine, kind: &LampKind) -> String {
    match kind {
        LampKind::Input(input) => machine.inputs[*input].words.english.clone(),
        LampKind::Output(output) => machine.outputs[*output].words.english.clone(),
        LampKind::Status(_) | LampKind::Unused => String::new(),
    }
}

/// What moves in any of the runs; where they differ, as in the first in which it moves.
fn movements(runs: &[Run], step: usize, by_hand: Option<HandMove>) -> Vec<Movement> {
    let mut found: Vec<(usize, Movement)> = Vec::new();
    for run in runs {
        for (mechanism, row) in run.machine.mechanisms.iter() {
            let known = found.iter().any(|(_, movement)| movement.mechanism == mechanism);
            let moved_by_hand = matches!(by_hand, Some(HandMove::Put(of, _)) if of == mechanism);
            if row.class != MechanismClass::Driven || known || moved_by_hand {
                continue;
            }
            if let Some((begins, from, to)) = path(run, step, mechanism) {
                found.push((begins, Movement { mechanism, from, to, hazard: row.moving_hazard }));
            }
        }
    }
    found.sort_by_key(|(begins, movement)| (*begins, movement.mechanism));
    found.into_iter().map(|(_, movement)| movement).collect()
}

/// When a mechanism begins to move in a step, from where, and where it comes by.
fn path(run: &Run, step: usize, mechanism: MechanismId) -> Option<(usize, Option<u8>, Vec<Option<u8>>)> {
    let (before, instants) = run.instants(step);
    let layout = run.plant.layout();
    let count = run.machine.mechanisms.get(mechanism)?.positions.len();
    let at = |one: &Instant| {
        (0..count).filter_map(|at| u8::try_from(at).ok()).find(|at| one.situation.on(layout.at(mechanism, *at)))
    };
    let from = at(before?);
    let begins = instants.iter().position(|one| at(one) != from)?;
    let mut to: Vec<Option<u8>> = Vec::new();
    for one in &instants[begins..] {
        let place = at(one);
        if place.is_some() && to.last() != Some(&place) {
            to.push(place);
        }
    }
    // A short jerk that ends where it began is a movement, too.
    let end = instants.last().and_then(at);
    if to.last() != Some(&end) {
        to.push(end);
    }
    Some((begins, from, to))
}

fn comes_on(runs: &[Run], step: usize) -> Vec<SupplyId> {
    let mut found: Vec<SupplyId> = Vec::new();
    for run in runs {
        let (Some(before), instants) = run.instants(step) else { continue };
        let layout = run.plant.layout();
        for (supply, row) in run.machine.supplies.iter() {
            let flows = row.kind != SupplyKind::Electric;
            let was = before.situation.on(layout.supply(supply));
            let comes = instants.iter().any(|one| one.situation.on(layout.supply(supply)));
            if flows && !was && comes && !found.contains(&supply) {
                found.push(supply);
            }
        }
    }
    found.sort_unstable();
    found
}
