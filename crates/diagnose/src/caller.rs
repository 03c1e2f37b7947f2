//! A caller with a machine at which something is wrong: answers whatever is asked, and does what he is told. Trials
//! follow the advice with one, practice lets a trainee work on his machine.

use crate::aftermath::Stood;
use crate::diagnoser::Diagnoser;
use crate::evidence::{
    CheckReport, Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming, PositionReport,
};
use crate::hypothesis::{Hypothesis, Stands, sequence_effects};
use crate::next::candidates::who_may;
use crate::next::{GO_ON_MINUTES, ToDo};
use crate::panel::LampTruth;
use crate::running::{SoFar, runs};
use crate::seen::{lamps_shown, reported};
use machine::id::{CheckId, DeviationId, MechanismId, RemedyId, RoutineId};
use machine::model::{HandMove, Observable, Who};
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

impl Truth {
    /// The keys of what is wrong, what is in play first; `None` for what no file knows.
    pub fn keys(&self, nature: &Diagnoser) -> Option<Vec<String>> {
        let Self::Listed(one) = self else { return None };
        let deviations = &nature.worlds()[one.world].machine.deviations;
        Some(one.deviations.iter().map(|deviation| deviations[*deviation].key.clone()).collect())
    }
}

/// How well somebody looks, and which dice decide it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Eyes {
    /// Which dice.
    pub seed: u64,
    /// Probability that a lamp is misread.
    pub misreading: f64,
    /// Probability that a lamp is not reported at first.
    pub unreported: f64,
    /// Probability that the answer to a check is not known.
    pub does_not_know: f64,
}

/// Hypotheses that calls are drawn from.
const MOST: usize = 20_000;

/// What calls are drawn from: everything that can be wrong, by its weight.
pub(crate) struct Urn {
    hypotheses: Vec<Hypothesis>,
    /// Sums of the weights up to each of them.
    sums: Vec<f64>,
    unknown: f64,
}

impl Urn {
    /// Everything that this machine's file knows, and what it does not.
    pub fn of(nature: &Diagnoser, evidence: &Evidence) -> Self {
        let (hypotheses, unknown) = nature.hypotheses(evidence, 0.9999, MOST);
        Self { unknown, ..Self::with(hypotheses) }
    }

    /// Those of which this is so; nothing unknown among them.
    pub fn only(self, is_so: impl Fn(&Hypothesis) -> bool) -> Self {
        Self::with(self.hypotheses.into_iter().filter(|one| is_so(one)).collect())
    }

    /// What can be drawn, but for what is unknown.
    pub fn hypotheses(&self) -> &[Hypothesis] {
        &self.hypotheses
    }

    /// The same with those of which this is so.
    pub fn among(&self, is_so: impl Fn(&Hypothesis) -> bool) -> Self {
        Self::with(self.hypotheses.iter().filter(|one| is_so(one)).cloned().collect())
    }

    fn with(hypotheses: Vec<Hypothesis>) -> Self {
        let sums = hypotheses
            .iter()
            .scan(0.0, |sum, one| {
                *sum += one.weight;
                Some(*sum)
            })
            .collect();
        Self { hypotheses, sums, unknown: 0.0 }
    }

    /// Draws what is wrong; `None` if there is nothing to draw from.
    pub fn draw(&self, dice: &mut fastrand::Rng) -> Option<Truth> {
        let all = self.sums.last().copied().unwrap_or(0.0) + self.unknown;
        if all <= 0.0 {
            return None;
        }
        let at = dice.f64() * all;
        let index = self.sums.partition_point(|sum| *sum <= at);
        Some(self.hypotheses.get(index).map_or(Truth::Unlisted, |one| Truth::Listed(Box::new(one.clone()))))
    }
}

/// Somebody at the machine.
#[derive(Clone, Debug)]
pub(crate) struct Caller<'t> {
    nature: &'t Diagnoser,
    truth: Truth,
    eyes: Eyes,
    number: u64,
    /// How the machine stands by now, once something was done to it.
    now: Option<Stood>,
    /// What was put right.
    cured: SmallVec<[DeviationId; 2]>,
    moments: u64,
}

impl<'t> Caller<'t> {
    pub fn new(nature: &'t Diagnoser, truth: Truth, eyes: Eyes, number: u64) -> Self {
        Self { nature, truth, eyes, number, now: None, cured: SmallVec::new(), moments: 0 }
    }

    /// Dice for one question: the same whatever was asked before.
    fn dice(&self, about: &str) -> fastrand::Rng {
        // FNV-1a (Fowler, Noll and Vo), so that a question's dice do not depend on the platform.
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        let numbers = [self.eyes.seed, self.number, self.moments];
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
        let (world, situation) = (&self.nature.worlds()[one.world], self.situation()?);
        let shown = world.panel.truth(&world.plant, situation);
        Some(lamps_shown(world, situation, shown, &self.present()))
    }

    /// What is said first: the complaint, what was being done and how far it had come, and what the lamps show.
    pub fn opening(&self) -> Evidence {
        let mut dice = self.dice("opening");
        let complaints = [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult];
        let (likely, begun): (Vec<f64>, Option<(RoutineId, Deed)>) = match &self.truth {
            Truth::Listed(one) => {
                let world = &self.nature.worlds()[one.world];
                let routine = &world.routines[one.routine];
                let standing = match &one.stands {
                    Stands::Record { record, .. } => routine.standings[*record as usize],
                    Stands::Held { .. } => crate::standing::Standing::Stalled,
                };
                let deed = Deed::Routine(usize::from(one.stage).checked_sub(1));
                let likely = complaints.iter().map(|complaint| standing.complains(*complaint)).collect();
                (likely, Some((routine.routine, deed)))
            }
            Truth::Unlisted => (vec![0.25; 4], None),
        };
        let complaint = pick(&likely, &mut dice).and_then(|index| complaints.get(index)).copied();
        let lamps = self.read_lamps("opening", self.eyes.unreported);
        Evidence {
            complaint,
            routine: begun.map(|(routine, _)| routine),
            moments: vec![Moment {
                deeds: begun.map(|(_, deed)| deed).into_iter().collect(),
                lamps,
                ..Moment::default()
            }],
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
        if dice.f64() >= self.eyes.misreading {
            return state;
        }
        if state == LampState::Dark { LampState::Lit } else { LampState::Dark }
    }

    /// Whether the caller knows what is asked.
    pub fn knows(&self, about: &str) -> bool {
        self.dice(&format!("knows {about}")).f64() >= self.eyes.does_not_know
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
            _ => sim::Shares::from_elem(1.0, count + 1),
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
        // Whoever looks whether it runs goes on with it, and where nothing is in its way it does.
        if self.runs(&one) {
            return true;
        }
        if remedy.is_none() {
            return false;
        }
        let helps = self.dice(&format!("helps {remedy:?}")).f64() >= self.nature.doubt().remedy;
        let right: Vec<DeviationId> = self
            .present()
            .into_iter()
            .filter(|deviation| helps && world.machine.deviations[*deviation].remedy == remedy)
            .collect();
        let effects: Vec<_> = right.iter().flat_map(|deviation| sequence_effects(world, *deviation)).collect();
        self.cured.extend(right);
        let does = remedy.and_then(|remedy| world.machine.remedies.get(remedy)).and_then(|remedy| remedy.does);
        self.go_on(&effects, does.unwrap_or(HandMove::Wait));
        self.runs(&one)
    }

    /// Whether the machine runs as it is now.
    fn runs(&self, one: &Hypothesis) -> bool {
        let worlds = self.nature.worlds();
        let world = &worlds[one.world];
        let routine = &world.routines[one.routine];
        let stood = self.now.clone().or_else(|| one.stood(worlds).map(|(stood, _)| stood));
        let Some(stood) = stood else { return false };
        let so_far = SoFar { as_always: one.as_always(worlds), put_right: !self.cured.is_empty() };
        let left: SmallVec<[usize; 2]> =
            (self.present().iter()).map(|deviation| world.behaviour_of(*deviation)).collect();
        runs(world, routine, &stood, so_far, &left)
    }

    /// Asks and notes the answer; false if there is none. What the hand does in an act has to be said.
    pub fn ask(&mut self, to_do: ToDo, movement: Option<HandMove>, evidence: &mut Evidence) -> bool {
        let Some(machine) = self.nature.machine() else { return false };
        if matches!(to_do, ToDo::Check(_)) && !self.knows(&to_do.key(machine)) {
            return false;
        }
        if evidence.moments.is_empty() {
            evidence.moments.push(Moment::default());
        }
        let Some(now) = evidence.moments.last_mut() else { return false };
        match to_do {
            ToDo::Check(check) => match self.check(check) {
                Some(report) => now.checks.push(report),
                None => return false,
            },
            ToDo::Lamp(place) => {
                now.lamps.push(LampReport { place, state: self.read_lamp(place), naming: Naming::Named });
            }
            ToDo::Lamps => {
                let known = now.lamps.clone();
                let all = self.read_lamps("rest", 0.0);
                now.lamps.extend(all.into_iter().filter(|lamp| known.iter().all(|one| one.place != lamp.place)));
            }
            ToDo::Position(mechanism) => match self.position(mechanism) {
                Some(report) => now.positions.push(report),
                None => return false,
            },
            ToDo::Act(deed) => {
                let Some(movement) = movement else { return false };
                self.act(movement);
                let deed = match deed {
                    // An action of the routine, whichever routine that was.
                    Deed::Routine(_) => Deed::Extra(movement),
                    extra => extra,
                };
                let lamps = self.read_lamps("again", 0.0);
                evidence.moments.push(Moment { deeds: vec![deed], lamps, ..Moment::default() });
            }
            ToDo::Remedy(_) | ToDo::GoOn => return false,
        }
        true
    }

    fn go_on(&mut self, put_right: &[machine::model::FaultEffect], movement: HandMove) {
        self.moments += 1;
        let Truth::Listed(one) = &self.truth else { return };
        let worlds = self.nature.worlds();
        let world = &worlds[one.world];
        let begin = match self.now.take() {
            Some(stood) => Some((stood, Vec::new())),
            None => one.stood(worlds),
        };
        let Some((stood, latent)) = begin else { return };
        let latent: Vec<_> = latent.into_iter().filter(|effect| !put_right.contains(effect)).collect();
        let after = world.routines[one.routine].go_on(world, &stood, &latent, put_right, &movement.into());
        let weights: Vec<f64> = after.iter().map(|(probability, _)| *probability).collect();
        let which = pick(&weights, &mut self.dice("branch"));
        self.now = which.and_then(|which| after.get(which)).map(|(_, stood)| Arc::clone(stood));
    }

    /// Who may do a remedy, and the minutes that it takes.
    pub fn price(&self, to_do: &ToDo) -> (Who, f64) {
        match (to_do, self.nature.machine()) {
            (ToDo::Remedy(remedy), Some(machine)) => (who_may(machine, *remedy), machine.remedies[*remedy].minutes),
            _ => (Who::Operator, GO_ON_MINUTES),
        }
    }

    /// The remedies that are really needed as the machine is now; none if nothing in the file helps.
    pub fn needs(&self) -> Vec<ToDo> {
        let Some(one) = self.as_it_is() else { return Vec::new() };
        let in_the_way = one.in_the_way(self.nature.worlds());
        if in_the_way.is_empty() {
            return vec![ToDo::GoOn];
        }
        let machine = &self.nature.worlds()[one.world].machine;
        let remedies = in_the_way.iter().filter_map(|deviation| machine.deviations[*deviation].remedy);
        remedies.map(ToDo::Remedy).collect()
    }

    /// What is the case by now, of what the file knows.
    fn as_it_is(&self) -> Option<Hypothesis> {
        let Truth::Listed(one) = &self.truth else { return None };
        let Some(stood) = &self.now else { return Some(one.as_ref().clone()) };
        let worlds = self.nature.worlds();
        let deviations = self.present();
        let still = |deviation: &&DeviationId| !self.cured.contains(*deviation);
        // Where it does not run though nothing that came into play is left, the rest is in the way.
        let (in_play, as_always) = match one.deviations.iter().take(one.in_play()).filter(still).count() {
            0 if !self.runs(one) => (deviations.len(), false),
            in_play => (in_play, one.as_always(worlds)),
        };
        let stands = Stands::Held { stood: Arc::clone(stood), latent: Vec::new(), in_play, as_always };
        Some(Hypothesis { deviations, stands, ..one.as_ref().clone() })
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
