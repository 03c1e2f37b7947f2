//! What can be the case, one by one.

use crate::aftermath::Stood;
use crate::class::Class;
use crate::panel::LampTruth;
use crate::prior::Prior;
use crate::running::{hold_up, left_in_the_way};
use crate::seen::lamps_shown;
use crate::world::World;
use machine::id::DeviationId;
use machine::model::FaultEffect;
use sim::Situation;
use smallvec::{SmallVec, smallvec};
use std::cell::OnceCell;
use std::sync::Arc;

/// One thing that can be the case.
#[derive(Clone, Debug)]
pub(crate) struct Hypothesis {
    /// Which world, and which of its routines.
    pub world: usize,
    pub routine: usize,
    /// What is wrong; none if nothing is.
    pub deviations: SmallVec<[DeviationId; 2]>,
    /// Not normalised.
    pub weight: f64,
    /// The last stage of the routine that was begun.
    pub stage: u16,
    pub stands: Stands,
}

/// How the machine stands.
#[derive(Clone, Debug)]
pub(crate) enum Stands {
    /// As in this record of the exploration, with so many of the deviations in play.
    Record { record: u32, in_play: usize },
    /// As it was followed through later moments, or played beside the exploration: with what is latent and not at work in
    /// it yet, so many of the deviations in play, and whether all has gone as always, as far as anybody knows.
    Held { stood: Stood, latent: Vec<FaultEffect>, in_play: usize, as_always: bool },
}

impl Hypothesis {
    /// How many of the deviations, the first ones, have come into play.
    pub fn in_play(&self) -> usize {
        let (Stands::Record { in_play, .. } | Stands::Held { in_play, .. }) = self.stands;
        in_play.min(self.deviations.len())
    }

    /// Whether all had gone as always when somebody called, as far as anybody knows.
    pub fn as_always(&self, worlds: &[World]) -> bool {
        match &self.stands {
            Stands::Record { record, .. } => {
                worlds[self.world].routines[self.routine].exploration.records[*record as usize].as_always
            }
            Stands::Held { as_always, .. } => *as_always,
        }
    }

    /// What has to be put right for the machine to run, by the rule of [`crate::running`]; where nothing has to be, going
    /// on is all that is needed.
    pub fn in_the_way(&self, worlds: &[World]) -> SmallVec<[DeviationId; 2]> {
        let world = &worlds[self.world];
        let routine = &world.routines[self.routine];
        let as_always = self.as_always(worlds);
        let in_play = self.in_play();
        let here = self.situation(worlds);
        // Most need not be played once more to be found in the way.
        let stood = OnceCell::new();
        let holds = |behaviour: usize| {
            let stood = stood.get_or_init(|| self.stood(worlds));
            stood.as_ref().is_some_and(|(stood, _)| hold_up(world, routine, (&stood.0, &stood.1), &[behaviour]))
        };
        let is_in_the_way = |place: usize, one: &DeviationId| {
            let behaviour = world.behaviour_of(*one);
            !as_always && routine.disturbs[behaviour]
                || left_in_the_way(world, routine, here, behaviour)
                || place < in_play && holds(behaviour)
        };
        let all = self.deviations.iter().enumerate();
        let found: SmallVec<_> = all.filter(|(place, one)| is_in_the_way(*place, one)).map(|(_, one)| *one).collect();
        // Where it had not gone as always something has to be put right, whatever that is.
        if found.is_empty() && !as_always { self.deviations[..in_play].into() } else { found }
    }

    /// What the machine looks like.
    pub fn situation<'h>(&'h self, worlds: &'h [World]) -> &'h Situation {
        match &self.stands {
            Stands::Record { record, .. } => {
                let exploration = &worlds[self.world].routines[self.routine].exploration;
                &exploration.situations[exploration.records[*record as usize].situation as usize]
            }
            Stands::Held { stood, .. } => &stood.0,
        }
    }

    /// What the lamps show, those included that the deviations change by themselves.
    pub fn lamps(&self, worlds: &[World]) -> LampTruth {
        let world = &worlds[self.world];
        let truth = match &self.stands {
            Stands::Record { record, .. } => {
                let routine = &world.routines[self.routine];
                routine.truth(routine.exploration.records[*record as usize].situation as usize).clone()
            }
            Stands::Held { stood, .. } => world.panel.truth(&world.plant, &stood.0),
        };
        lamps_shown(world, self.situation(worlds), truth, &self.deviations)
    }

    /// The standing to go on from, and what is wrong but has not come into play in it.
    pub fn stood(&self, worlds: &[World]) -> Option<(Stood, Vec<FaultEffect>)> {
        let world = &worlds[self.world];
        match &self.stands {
            Stands::Record { record, in_play } => {
                let latent = self.deviations.iter().skip(*in_play);
                let effects = latent.flat_map(|one| sequence_effects(world, *one)).collect();
                let behaviours = self.deviations.iter().map(|one| world.behaviour_of(*one));
                Some((world.routines[self.routine].stood(world, *record, behaviours)?, effects))
            }
            Stands::Held { stood, latent, .. } => Some((Arc::clone(stood), latent.clone())),
        }
    }
}

/// What a deviation does, as the sequence notices it.
pub(crate) fn sequence_effects(world: &World, deviation: DeviationId) -> Vec<FaultEffect> {
    world.effects_of(world.behaviour_of(deviation)).to_vec()
}

/// Sets of single deviations that a set of classes stands for, each with its share.
pub(crate) fn members_of(prior: &Prior, set: &[&Class]) -> Vec<(SmallVec<[DeviationId; 2]>, f64)> {
    if let [a] = set {
        return a.members.iter().map(|one| (smallvec![*one], a.share(*one, prior))).collect();
    }
    let mut all: Vec<(SmallVec<[DeviationId; 2]>, f64)> = vec![(SmallVec::new(), 1.0)];
    for (place, class) in set.iter().enumerate() {
        // Two members of one class are taken in one order only.
        let before = set[..place].iter().rposition(|other| std::ptr::eq(*other, *class));
        let with = |(chosen, odds): &(SmallVec<[DeviationId; 2]>, f64)| {
            let fits = |one: &&DeviationId| {
                before.is_none_or(|before| chosen[before] < **one)
                    && chosen.iter().all(|other| prior.group(*other) != prior.group(**one))
            };
            let longer = |one: &DeviationId| {
                let mut longer = chosen.clone();
                longer.push(*one);
                (longer, odds * prior.odds(*one))
            };
            class.members.iter().filter(fits).map(longer).collect::<Vec<_>>()
        };
        all = all.iter().flat_map(with).collect();
    }
    let total: f64 = all.iter().map(|(_, odds)| odds).sum();
    all.iter_mut().for_each(|(_, odds)| *odds /= total.max(f64::MIN_POSITIVE));
    all
}
