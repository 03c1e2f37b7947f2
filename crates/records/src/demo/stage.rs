//! What each deviation does to a machine, and where people would stop and call: one played run for each deviation,
//! once for a machine type and revision.

use diagnose::Standing;
use diagnose::evidence::Complaint;
use diagnose::panel::{LampTruth, Panel};
use machine::id::{DeviationId, Id, RoutineId};
use machine::model::{Chance, DeviationKind};
use machine::{Choice, Machine, Source};
use sim::{Cause, Imposed, Limits, Plant, Playback, Situation};

/// The routine that people do.
const ROUTINE: usize = 0;

/// What a deviation comes to.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub deviation: DeviationId,
    /// Rate per million hours of a fault, or chance each time of a lapse.
    pub chance: f64,
    pub is_lapse: bool,
    /// Hand actions that were done when somebody called.
    pub stage: usize,
    pub situation: Situation,
    pub lamps: LampTruth,
    pub standing: Standing,
}

/// A machine type in one revision, with all deviations that somebody would notice.
#[derive(Debug)]
pub(super) struct Stage {
    pub machine: Machine,
    pub plant: Plant,
    pub panel: Panel,
    pub scenes: Vec<Scene>,
}

impl Stage {
    /// Reads a machine file for this serial number and plays all deviations. None for a file that describes nothing.
    pub fn new(text: &str, serial: u64) -> Option<Self> {
        let choice = Choice { serial: Some(serial), ..Choice::default() };
        let resolved = machine::read(Source::new("demo.toml", text), &[]).resolve(&choice);
        let machine = resolved.alternatives.into_iter().next()?.machine;
        let (plant, panel) = (Plant::new(&machine), Panel::new(&machine));
        let nominal = ends(&play(&machine, &plant, &[]));
        // Most people go on until start was pressed; only then do they see that something is amiss.
        let actions = machine.routines.get(RoutineId::new(ROUTINE)).map_or(&[][..], |row| row.actions.as_slice());
        let started = actions.iter().rposition(|action| action.short.contains("start")).map_or(0, |action| action + 1);
        let mut scenes = Vec::new();
        for (id, deviation) in machine.deviations.iter() {
            let (chance, is_lapse) = match (deviation.rate.chance, deviation.kind) {
                (Chance::PerMillionHours(rate), DeviationKind::Fault(_)) => (rate, false),
                (Chance::EachTime(chance), DeviationKind::Lapse) => (chance, true),
                _ => continue,
            };
            if chance <= 0.0 {
                continue;
            }
            let run = ends(&play(&machine, &plant, &[Imposed { deviation: id, from: None }]));
            let truths = |situation: &Situation| panel.truth(&plant, situation);
            let odd = run.iter().zip(&nominal).position(|(one, other)| truths(one) != truths(other));
            let Some(mut stage) = odd else { continue };
            stage = stage.max(started.min(run.len().min(nominal.len()) - 1));
            let (situation, usual) = (run[stage].clone(), &nominal[stage]);
            let lamps = truths(&situation);
            if lamps == truths(usual) {
                continue;
            }
            let standing = Standing::of(&machine, &plant, &situation, usual, false, stage + 1 == nominal.len());
            scenes.push(Scene { deviation: id, chance, is_lapse, stage, situation, lamps, standing });
        }
        Some(Self { machine, plant, panel, scenes })
    }
}

impl Scene {
    /// The complaints with their probabilities.
    pub fn complaints(&self) -> [(Complaint, f64); 4] {
        [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult]
            .map(|complaint| (complaint, self.standing.complains(complaint)))
    }
}

fn play(machine: &Machine, plant: &Plant, imposed: &[Imposed]) -> Playback {
    sim::play(machine, plant, RoutineId::new(ROUTINE), imposed, Limits::default(), None)
}

/// How the machine stands after power-on and after each action.
fn ends(playback: &Playback) -> Vec<Situation> {
    let mut ends: Vec<Situation> = Vec::new();
    for instant in &playback.instants {
        let begins = matches!(instant.cause, Cause::PowerOn | Cause::Hand(_) | Cause::LeftOut(_));
        match ends.last_mut() {
            Some(last) if !begins => last.clone_from(&instant.situation),
            _ => ends.push(instant.situation.clone()),
        }
    }
    ends
}
