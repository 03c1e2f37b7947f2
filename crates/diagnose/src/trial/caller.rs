//! A caller with a machine at which something is wrong.

use super::Trial;
use crate::aftermath::Stood;
use crate::diagnoser::{Diagnoser, Hypothesis, Stands, sequence_effects};
use crate::evidence::{
    CheckReport, Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming, PositionReport,
};
use crate::next::ToDo;
use crate::panel::LampTruth;
use crate::seen::{lamps_shown, reported};
use machine::id::{CheckId, DeviationId, MechanismId, RemedyId};
use machine::model::{HandMove, Observable};
use sim::{Situation, View};
use smallvec::SmallVec;
use std::sync::Arc;

/// What is really the case in a call.
#[derive(Clone, Debug)]
pub(crate) enum Truth {
    /// This.
    Listed(Box<Hypothesis>),
    /// Something that no file knows.
    Unlisted,
}

/// Hypotheses that calls are drawn from.
const MOST: usize = 20_000;

/// Draws what is wrong in each call.
pub(crate) fn draw(nature: &Diagnoser, trial: &Trial) -> Vec<Truth> {
    let (hypotheses, unknown) = nature.hypotheses(&Evidence::default(), 0.9999, MOST);
    let mut sums = Vec::with_capacity(hypotheses.len());
    let mut sum = 0.0;
    for one in &hypotheses {
        sum += one.weight;
        sums.push(sum);
    }
    let mut dice = fastrand::Rng::with_seed(trial.seed);
    (0..trial.calls)
        .map(|_| {
            let at = dice.f64() * (sum + unknown);
            let index = sums.partition_point(|sum| *sum <= at);
            hypotheses.get(index).map_or(Truth::Unlisted, |one| Truth::Listed(Box::new(one.clone())))
        })
        .collect()
}

/// Somebody at the machine.
pub(crate) struct Caller<'t> {
    nature: &'t Diagnoser,
    truth: Truth,
    trial: &'t Trial,
    number: u64,
    /// How the machine stands by now, once something was done to it.
    now: Option<Stood>,
    /// What was put right.
    cured: SmallVec<[DeviationId; 2]>,
    moments: u64,
}

impl<'t> Caller<'t> {
    pub fn new(nature: &'t Diagnoser, truth: Truth, trial: &'t Trial, number: u64) -> Self {
        Self { nature, truth, trial, number, now: None, cured: SmallVec::new(), moments: 0 }
    }

    /// Dice for one question: the same whatever was asked before.
    fn dice(&self, about: &str) -> fastrand::Rng {
        // FNV-1a (Fowler, Noll and Vo), so that a question's dice do not depend on the platform.
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        let numbers = [self.trial.seed, self.number, self.moments];
        for byte in about.bytes().chain(numbers.iter().flat_map(|number| number.to_le_bytes())) {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
        fastrand::Rng::with_seed(hash)
    }

    fn situation(&self) -> Option<&Situation> {
        match (&self.now, &self.truth) {
            (Some(stood), _) => Some(&stood.0),
            (None, Truth::Listed(one)) => Some(one.situation(self.nature.worlds())),
            (None, Truth::Unlisted) => None,
        }
    }

    fn present(&self) -> SmallVec<[DeviationId; 2]> {
        match &self.truth {
            Truth::Listed(one) => one.deviations.iter().copied().filter(|one| !self.cured.contains(one)).collect(),
            Truth::Unlisted => SmallVec::new(),
        }
    }

    fn lamps_truth(&self) -> Option<LampTruth> {
        let Truth::Listed(one) = &self.truth else { return None };
        Some(lamps_shown(&self.nature.worlds()[one.world], self.situation()?, &self.present()))
    }

    /// What is said first.
    pub fn opening(&self) -> Evidence {
        let mut dice = self.dice("opening");
        let complaints = [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult];
        let (likely, deed): (Vec<f64>, Option<Deed>) = match &self.truth {
            Truth::Listed(one) => {
                let world = &self.nature.worlds()[one.world];
                let routine = &world.routines[one.routine];
                let standing = match &one.stands {
                    Stands::Record { record, .. } => routine.standings[*record as usize],
                    Stands::Held(_) => crate::standing::Standing::Stalled,
                };
                let deed = (one.routine == 0).then(|| Deed::Routine(usize::from(one.stage).checked_sub(1)));
                (complaints.iter().map(|complaint| standing.complains(*complaint)).collect(), deed)
            }
            Truth::Unlisted => (vec![0.25; 4], None),
        };
        let complaint = pick(&likely, &mut dice).and_then(|index| complaints.get(index)).copied();
        let lamps = self.read_lamps("opening", self.trial.unreported);
        Evidence {
            complaint,
            moments: vec![Moment { deeds: deed.into_iter().collect(), lamps, ..Moment::default() }],
            ..Evidence::default()
        }
    }

    /// All lamps, save some that are passed over.
    pub fn read_lamps(&self, about: &str, unreported: f64) -> Vec<LampReport> {
        let Some(machine) = self.nature.machine() else { return Vec::new() };
        let reported = |place: &LampPlace| {
            self.dice(&format!("{about} passed over {} {}", place.row, place.column)).f64() >= unreported
        };
        LampPlace::all(machine)
            .map(|(place, _)| place)
            .filter(reported)
            .map(|place| LampReport { place, state: self.read_lamp(place), naming: Naming::Named })
            .collect()
    }

    /// One lamp, as the caller sees it; looking again gives the same.
    pub fn read_lamp(&self, place: LampPlace) -> LampState {
        let mut dice = self.dice(&format!("lamp {} {}", place.row, place.column));
        let panel = self.nature.worlds().first().map(|world| &world.panel);
        let number = panel.and_then(|panel| panel.number(place));
        let (Some(truth), Some(number)) = (self.lamps_truth(), number) else {
            return if dice.f64() < 0.4 { LampState::Lit } else { LampState::Dark };
        };
        let state = truth.state(number);
        if dice.f64() >= self.trial.misreading {
            return state;
        }
        if state == LampState::Dark { LampState::Lit } else { LampState::Dark }
    }

    /// Whether the caller knows what is asked.
    pub fn knows(&self, about: &str) -> bool {
        self.dice(&format!("knows {about}")).f64() >= self.trial.does_not_know
    }

    /// The answer to a check.
    pub fn check(&self, check: CheckId) -> Option<CheckReport> {
        let machine = self.nature.machine()?;
        let it = machine.checks.get(check)?;
        let mut dice = self.dice(&format!("check {}", it.key));
        let shares = match (&self.truth, self.situation()) {
            (Truth::Listed(one), Some(situation)) => {
                let world = &self.nature.worlds()[one.world];
                let present = self.present();
                let shares = View::new(&world.machine, &world.plant, situation, &present).answers(&it.observes);
                (0..shares.len()).map(|said| reported(&shares, said, it.error)).collect()
            }
            _ => vec![1.0; it.answers.len()],
        };
        Some(CheckReport { check, answer: pick(&shares, &mut dice)? })
    }

    /// Where a mechanism stands.
    pub fn position(&self, mechanism: MechanismId) -> Option<PositionReport> {
        let machine = self.nature.machine()?;
        let count = machine.mechanisms.get(mechanism)?.positions.len();
        let mut dice = self.dice(&format!("position {}", machine.mechanisms[mechanism].name));
        let shares = match (&self.truth, self.situation()) {
            (Truth::Listed(one), Some(situation)) => {
                let world = &self.nature.worlds()[one.world];
                View::new(&world.machine, &world.plant, situation, &[]).answers(&Observable::Position(mechanism))
            }
            _ => vec![1.0; count + 1],
        };
        let said = pick(&shares, &mut dice)?;
        Some(PositionReport { mechanism, position: u8::try_from(said).ok().filter(|_| said < count) })
    }

    /// Works the machine; the lamps have changed afterwards.
    pub fn act(&mut self, movement: HandMove) {
        self.go_on(&[], movement);
    }

    /// Whether the machine runs after this was put right.
    pub fn put_right(&mut self, to_do: &ToDo) -> bool {
        let Truth::Listed(one) = &self.truth else { return false };
        let one = one.clone();
        let world = &self.nature.worlds()[one.world];
        let remedy: Option<RemedyId> = match to_do {
            ToDo::Remedy(remedy) => Some(*remedy),
            _ => None,
        };
        if remedy.is_none() {
            return *to_do == ToDo::GoOn && one.deviations.is_empty();
        }
        let helps = self.dice(&format!("helps {remedy:?}")).f64() >= self.nature.doubt().remedy;
        let right: Vec<DeviationId> = self
            .present()
            .into_iter()
            .filter(|deviation| helps && world.machine.deviations[*deviation].remedy == remedy)
            .collect();
        let effects: Vec<_> = right.iter().flat_map(|deviation| sequence_effects(world, *deviation)).collect();
        self.cured.extend(right);
        let in_play = match one.stands {
            Stands::Record { in_play, .. } => in_play,
            Stands::Held(_) => one.deviations.len(),
        };
        if !one.deviations.is_empty() && one.deviations.iter().take(in_play.max(1)).all(|one| self.cured.contains(one))
        {
            return true;
        }
        let does = remedy.and_then(|remedy| world.machine.remedies.get(remedy)).and_then(|remedy| remedy.does);
        self.go_on(&effects, does.unwrap_or(HandMove::Wait));
        false
    }

    fn go_on(&mut self, put_right: &[machine::model::FaultEffect], movement: HandMove) {
        self.moments += 1;
        let Truth::Listed(one) = &self.truth else { return };
        let worlds = self.nature.worlds();
        let world = &worlds[one.world];
        let begin = match self.now.take() {
            Some(stood) => Some((stood, Vec::new())),
            None => one.stood(worlds).map(|(stood, latent)| (Arc::clone(stood), latent)),
        };
        let Some((stood, latent)) = begin else { return };
        let latent: Vec<_> = latent.into_iter().filter(|effect| !put_right.contains(effect)).collect();
        let after = world.routines[one.routine].go_on(world, &stood, &latent, put_right, &movement.into());
        let weights: Vec<f64> = after.iter().map(|(probability, _)| *probability).collect();
        let which = pick(&weights, &mut self.dice("branch"));
        self.now = which.and_then(|which| after.get(which)).map(|(_, stood)| Arc::clone(stood));
    }

    /// The remedies that are really needed; none if nothing in the file helps.
    pub fn needs(&self) -> Vec<ToDo> {
        match &self.truth {
            Truth::Listed(one) if one.deviations.is_empty() => vec![ToDo::GoOn],
            Truth::Listed(one) => {
                let machine = &self.nature.worlds()[one.world].machine;
                let remedies = one.deviations.iter().filter_map(|deviation| machine.deviations[*deviation].remedy);
                remedies.map(ToDo::Remedy).collect()
            }
            Truth::Unlisted => Vec::new(),
        }
    }
}

fn pick(weights: &[f64], dice: &mut fastrand::Rng) -> Option<usize> {
    let total: f64 = weights.iter().sum();
    let mut at = dice.f64() * total;
    for (index, weight) in weights.iter().enumerate() {
        at -= weight;
        if at < 0.0 {
            return Some(index);
        }
    }
    weights.iter().rposition(|weight| *weight > 0.0)
}
