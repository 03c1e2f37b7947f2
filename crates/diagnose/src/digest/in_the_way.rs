//! What has to be known beforehand of a machine to say whether it runs again after something was tried.
//!
//! Where a run was not as always when somebody called, it is enough to know of each deviation whether by itself it can
//! make the routine go otherwise ([`super::ClassRow::disturbs`]). Where all had gone as always, what now holds anything
//! otherwise is in the way, and that depends on what hands have done since: so it is played here, for each move by itself.

use super::remedies_of_operator;
use crate::aftermath::Stood;
use crate::renamed::same_remedy;
use crate::running::{effects_of, left_in_the_way};
use crate::world::{RoutineWorld, World};
use machine::id::RemedyId;
use machine::model::{FaultEffect, HandMove};
use rayon::prelude::*;
use sim::{Situation, State};
use std::collections::BTreeMap;

/// What is followed to a larger part than this counts as followed whole.
const LEAST_FOLLOWED: f64 = 0.995;

/// What hands do when something is tried, each move once and counted from 1.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Moves {
    /// Remedies for an operator in which a hand acts, in the numbers of the first alternative, with their move.
    pub by_remedy: Vec<(RemedyId, usize)>,
    /// By action of the routine, its move.
    pub by_action: Vec<usize>,
}

/// What is in the way in a stage after which somebody calls though all had gone as always.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InTheWay {
    /// The stage.
    pub stage: u16,
    /// What it does to the sequence, by number; see [`super::ClassRow::behaviour`].
    pub behaviour: u32,
    /// Whether it has come into play by then; else it is latent, and nothing else is in play.
    pub in_play: bool,
    /// Whether it holds anything otherwise: as somebody calls, then after each move of [`Moves`] by itself.
    pub after: Vec<bool>,
}

/// How much is followed of what can become of something that comes and goes: branches of little weight are cut.
#[derive(Clone, Debug, PartialEq)]
pub struct PartFollowed {
    /// The stage after which somebody calls.
    pub stage: u16,
    /// What it does to the sequence, by number; it has come into play, and nothing else has.
    pub behaviour: u32,
    /// Whether all had gone as always.
    pub as_always: bool,
    /// The part, 0 to 1: with nothing done, then after each move of [`Moves`] by itself.
    pub after: Vec<f64>,
}

/// The moves of a routine and of what an operator can try, and what they are.
pub(super) fn moves(first: &World, world: &World, routine: &RoutineWorld) -> (Moves, Vec<HandMove>) {
    let mut all: Vec<HandMove> = Vec::new();
    let mut number = |movement: HandMove| {
        let at = all.iter().position(|known| *known == movement).unwrap_or_else(|| {
            all.push(movement);
            all.len() - 1
        });
        at + 1
    };
    let of_remedy = |remedy: &RemedyId| {
        let here = same_remedy(&first.machine, *remedy, &world.machine)?;
        world.machine.remedies.get(here)?.does
    };
    let own = remedies_of_operator(&first.machine);
    let by_remedy = own.into_iter().filter_map(|id| Some((id, number(of_remedy(&id)?)))).collect();
    let actions = world.machine.routines[routine.routine].actions.iter();
    let by_action = actions.map(|action| number(action.movement)).collect();
    (Moves { by_remedy, by_action }, all)
}

/// Stage, behaviour, whether it is in play, and whether all had gone as always.
type Alike = (u16, u32, bool, bool);

/// As it stands and after each move: how much of it holds anything otherwise, and how much is followed.
type Parts = Vec<(f64, f64)>;

/// What is in the way after each of these moves, and how much is followed of what comes and goes.
pub(super) fn after_moves(
    world: &World,
    routine: &RoutineWorld,
    moves: &[HandMove],
) -> (Vec<InTheWay>, Vec<PartFollowed>) {
    let exploration = &routine.exploration;
    let comes_and_goes =
        |behaviour: u32| effects_of(world, behaviour as usize).iter().any(FaultEffect::comes_and_goes);
    let wanted: Vec<(usize, u32, bool)> = (exploration.records.iter().enumerate())
        .filter(|(_, record)| record.second.is_none())
        .flat_map(|(number, record)| match (record.first, record.latent) {
            // A record can stand for several.
            (Some(first), _) if record.as_always || comes_and_goes(first) => (0..exploration.behaviours.len())
                .filter(|one| exploration.runs_as(*one, None) == first as usize)
                .map(|one| (number, one as u32, true))
                .collect(),
            (None, Some(row)) if record.as_always => {
                let shares = exploration.latent[row as usize].iter().enumerate();
                shares.filter(|(_, share)| **share > 0.0).map(|(one, _)| (number, one as u32, false)).collect()
            }
            _ => Vec::new(),
        })
        .collect();
    let found: Vec<Option<Parts>> = (wanted.par_iter())
        .map(|(record, behaviour, in_play)| {
            let stood = routine.stood(world, u32::try_from(*record).ok()?, [*behaviour as usize])?;
            Some(otherwise(world, routine, &stood, *behaviour as usize, *in_play, moves))
        })
        .collect();
    // Whatever the moment at which it set in, by weight: the whole, what holds something otherwise, and what is followed.
    let mut sums: BTreeMap<Alike, (f64, Parts)> = BTreeMap::new();
    for ((record, behaviour, in_play), found) in wanted.into_iter().zip(found) {
        let (Some(found), record) = (found, &exploration.records[record]) else { continue };
        let key = (record.stage, behaviour, in_play, record.as_always);
        let (whole, parts) = sums.entry(key).or_insert_with(|| (0.0, vec![(0.0, 0.0); found.len()]));
        *whole += record.weight;
        for ((holds, followed), (holds_here, followed_here)) in parts.iter_mut().zip(found) {
            *holds += record.weight * holds_here;
            *followed += record.weight * followed_here;
        }
    }
    let (mut in_the_way, mut followed) = (Vec::new(), Vec::new());
    for ((stage, behaviour, in_play, as_always), (whole, parts)) in sums {
        let after: Vec<bool> = parts.iter().map(|(holds, followed)| *holds > 0.5 * followed).collect();
        if as_always && after.contains(&true) {
            in_the_way.push(InTheWay { stage, behaviour, in_play, after });
        }
        let after: Vec<f64> =
            parts.iter().map(|(_, followed)| (followed / whole.max(f64::MIN_POSITIVE)).min(1.0)).collect();
        if in_play && after.iter().any(|part| *part < LEAST_FOLLOWED) {
            followed.push(PartFollowed { stage, behaviour, as_always, after });
        }
    }
    (in_the_way, followed)
}

/// Of what holds anything otherwise, and of all that is followed, the probability: as it stands, and after each move.
fn otherwise(
    world: &World,
    routine: &RoutineWorld,
    stood: &Stood,
    behaviour: usize,
    in_play: bool,
    moves: &[HandMove],
) -> Parts {
    let exploration = &routine.exploration;
    let effects = effects_of(world, behaviour);
    let otherwise = |here: &Situation, state: &State| {
        let left = left_in_the_way(world, routine, here, behaviour);
        f64::from(u8::from(left || exploration.hold_otherwise(&world.plant, state, effects)))
    };
    let latent = if in_play { &[][..] } else { effects };
    let after = moves.iter().map(|movement| {
        let after = exploration.go_on(&world.plant, &stood.1, latent, &[], &(*movement).into());
        after.iter().fold((0.0, 0.0), |(holds, followed), (probability, here, state)| {
            (holds + probability * otherwise(here, state), followed + probability)
        })
    });
    std::iter::once((otherwise(&stood.0, &stood.1), 1.0)).chain(after).collect()
}
