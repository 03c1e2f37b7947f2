//! What has to be known beforehand of a machine to say whether it runs again after something was tried.
//!
//! Where a run was not as always when somebody called, it is enough to know of each deviation whether by itself it can
//! make the routine go otherwise ([`super::ClassRow::disturbs`]). Where all had gone as always, what now holds anything
//! otherwise is in the way, and that depends on what hands have done since: so it is played here, for each move by itself.

use super::remedies_of_operator;
use crate::aftermath::Stood;
use crate::renamed::same_remedy;
use crate::running::hold_up;
use crate::world::{RoutineWorld, World};
use machine::id::RemedyId;
use machine::model::HandMove;
use rayon::prelude::*;
use sim::{Situation, State};
use std::collections::BTreeMap;

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

/// What is in the way after each of these moves.
pub(super) fn after_moves(world: &World, routine: &RoutineWorld, moves: &[HandMove]) -> Vec<InTheWay> {
    let exploration = &routine.exploration;
    let wanted: Vec<(usize, usize, bool)> = (exploration.records.iter().enumerate())
        .filter(|(_, record)| record.second.is_none() && record.as_always)
        .flat_map(|(number, record)| match (record.first, record.latent) {
            (Some(first), _) => exploration.running_as(first as usize).map(|one| (number, one, true)).collect(),
            (None, Some(row)) => {
                let shares = exploration.latent[row as usize].iter().enumerate();
                shares.filter(|(_, share)| **share > 0.0).map(|(one, _)| (number, one, false)).collect()
            }
            (None, None) => Vec::new(),
        })
        .collect();
    let found: Vec<Option<Vec<f64>>> = (wanted.par_iter())
        .map(|(record, behaviour, in_play)| {
            let stood = routine.stood(world, u32::try_from(*record).ok()?, [*behaviour])?;
            Some(otherwise(world, routine, &stood, *behaviour, *in_play, moves))
        })
        .collect();
    // Whatever the moment at which it set in, by weight: the whole, and what holds something otherwise.
    let mut sums: BTreeMap<(u16, usize, bool), (f64, Vec<f64>)> = BTreeMap::new();
    for ((record, behaviour, in_play), found) in wanted.into_iter().zip(found) {
        let (Some(found), record) = (found, &exploration.records[record]) else { continue };
        let key = (record.stage, behaviour, in_play);
        let (whole, parts) = sums.entry(key).or_insert_with(|| (0.0, vec![0.0; found.len()]));
        *whole += record.weight;
        parts.iter_mut().zip(found).for_each(|(holds, here)| *holds += record.weight * here);
    }
    let in_the_way = sums.into_iter().filter_map(|((stage, behaviour, in_play), (whole, parts))| {
        let after: Vec<bool> = parts.iter().map(|holds| *holds > 0.5 * whole).collect();
        after.contains(&true).then_some(InTheWay { stage, behaviour: behaviour as u32, in_play, after })
    });
    in_the_way.collect()
}

/// The probability that a behaviour holds anything otherwise: as it stands, and after each move.
fn otherwise(
    world: &World,
    routine: &RoutineWorld,
    stood: &Stood,
    behaviour: usize,
    in_play: bool,
    moves: &[HandMove],
) -> Vec<f64> {
    let exploration = &routine.exploration;
    let otherwise =
        |here: &Situation, state: &State| f64::from(u8::from(hold_up(world, routine, (here, state), &[behaviour])));
    let latent = if in_play { &[][..] } else { world.effects_of(behaviour) };
    let after = moves.iter().map(|movement| {
        let after = exploration.go_on(&world.plant, &stood.1, latent, &[], &(*movement).into());
        after.iter().map(|(probability, here, state)| probability * otherwise(here, state)).sum()
    });
    std::iter::once(otherwise(&stood.0, &stood.1)).chain(after).collect()
}
