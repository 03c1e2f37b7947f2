//! What has to be known beforehand of a machine to say whether it runs again after something was tried.
//!
//! Where a run was not as always when somebody called, everything is in the way that by itself can make the routine go
//! otherwise ([`super::ClassRow::disturbs`]). Of all else, and of everything where all had gone as always, what now holds
//! anything otherwise is, and that depends on what hands have done since: so it is played here, for each move by itself.
//! What two of them do together is played, too, and told where it is not what each of them does by itself.

use super::{ClassRow, remedies_of_operator};
use crate::aftermath::Stood;
use crate::renamed::same_remedy;
use crate::running::hold_up;
use crate::world::{RoutineWorld, World};
use machine::Machine;
use machine::id::RemedyId;
use machine::model::{FaultEffect, HandMove};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
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
    /// Whether it holds anything otherwise: as somebody calls (latent, once it has had the time to show), then after each
    /// move of [`Moves`] by itself.
    pub after: Vec<bool>,
}

/// Two that are in play and in the way otherwise than [`InTheWay`] tells of each by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Together {
    /// The stage after which somebody calls.
    pub stage: u16,
    /// Whether all had gone as always.
    pub as_always: bool,
    /// What they do to the sequence, by number, the lower one first.
    pub behaviours: [u32; 2],
    /// Whether what is left of them is in the way otherwise than told: with both, then with the first once the second
    /// has been put right as its remedy does it, then with the second.
    pub otherwise: [bool; 3],
}

/// Two in play where a record stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pair {
    pub record: usize,
    pub behaviours: [usize; 2],
    pub weight: f64,
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
    let otherwise =
        |here: &Situation, state: &State| f64::from(u8::from(hold_up(world, routine, (here, state), &[behaviour])));
    let latent = if in_play { &[][..] } else { world.effects_of(behaviour) };
    let after = moves.iter().map(|movement| after_move(world, routine, (&stood.1, latent, &[]), *movement, otherwise));
    let begun = match in_play {
        true => otherwise(&stood.0, &stood.1),
        // Whatever is tried, what is latent has shown by the time that somebody looks whether it runs.
        false => after_move(world, routine, (&stood.1, latent, &[]), HandMove::Wait, otherwise),
    };
    std::iter::once(begun).chain(after).collect()
}

/// The probability of something after a hand has acted; effects set in before, and others are put right.
fn after_move(
    world: &World,
    routine: &RoutineWorld,
    (state, set_in, put_right): (&State, &[FaultEffect], &[FaultEffect]),
    movement: HandMove,
    is_so: impl Fn(&Situation, &State) -> f64,
) -> f64 {
    let after = routine.exploration.go_on(&world.plant, state, set_in, put_right, &movement.into());
    after.iter().map(|(probability, here, state)| probability * is_so(here, state)).sum()
}

/// By behaviour, the move of the remedy for an operator with which it is put right most often, 0 for none; nothing where
/// there is no such remedy.
pub(super) fn put_right_by(first: &Machine, classes: &[ClassRow], moves: &Moves) -> FxHashMap<u32, usize> {
    let own = remedies_of_operator(first);
    let mut heaviest: FxHashMap<u32, (f64, usize)> = FxHashMap::default();
    for class in classes {
        let Some(remedy) = class.remedy.filter(|remedy| own.contains(remedy)) else { continue };
        let movement = moves.by_remedy.iter().find(|(id, _)| *id == remedy).map_or(0, |(_, movement)| *movement);
        let known = heaviest.entry(class.behaviour).or_insert((0.0, movement));
        if class.odds > known.0 {
            *known = (class.odds, movement);
        }
    }
    heaviest.into_iter().map(|(behaviour, (_, movement))| (behaviour, movement)).collect()
}

/// For both of a pair, the first and the second: the probability that what is left is in the way, and what is told of each by
/// itself.
type Played = [Option<(f64, bool)>; 3];

/// Where two in play are in the way otherwise than each by itself.
pub(super) fn together(
    world: &World,
    routine: &RoutineWorld,
    pairs: &[Pair],
    (alone, remedies, moves): (&[InTheWay], &FxHashMap<u32, usize>, &[HandMove]),
) -> Vec<Together> {
    let alone: FxHashMap<(u16, usize), &Vec<bool>> =
        (alone.iter()).filter(|one| one.in_play).map(|one| ((one.stage, one.behaviour as usize), &one.after)).collect();
    let told = |stage: u16, behaviour: usize, movement: usize| {
        alone.get(&(stage, behaviour)).is_some_and(|after| after.get(movement) == Some(&true))
    };
    let exploration = &routine.exploration;
    let holds = |here: &Situation, state: &State, left: &[usize]| {
        f64::from(u8::from(hold_up(world, routine, (here, state), left)))
    };
    let found: Vec<Option<Played>> = (pairs.par_iter())
        .map(|pair| {
            let record = &exploration.records[pair.record];
            let [a, b] = pair.behaviours;
            let stage = record.stage;
            // What by itself makes the routine go otherwise is in the way anyway where it has gone so.
            let open = |left: usize| record.as_always || !routine.disturbs[left];
            let remedy = |cured: usize, left: usize| remedies.get(&(cured as u32)).copied().filter(|_| open(left));
            let (without_b, without_a) = (remedy(b, a), remedy(a, b));
            if !record.as_always && without_a.is_none() && without_b.is_none() {
                return None;
            }
            let state = exploration.state_of(&world.machine, &world.plant, record, [Some(a), Some(b)])?;
            let here = &exploration.situations[record.situation as usize];
            let both = record.as_always.then(|| (holds(here, &state, &[a, b]), told(stage, a, 0) || told(stage, b, 0)));
            let left = |cured: usize, left: usize, movement: usize| {
                let stay = world.effects_of(left);
                let mut lifted = world.effects_of(cured).to_vec();
                lifted.retain(|effect| !stay.contains(effect));
                let after =
                    |state: &State, movement, lifted: &[FaultEffect], is_so: &dyn Fn(&Situation, &State) -> f64| {
                        after_move(world, routine, (state, &[], lifted), movement, is_so)
                    };
                let in_the_way = |here: &Situation, state: &State| holds(here, state, &[left]);
                let played = match movement.checked_sub(1).and_then(|at| moves.get(at)) {
                    Some(by_hand) => {
                        after(&state, HandMove::Wait, &lifted, &|_, state| after(state, *by_hand, &[], &in_the_way))
                    }
                    None => after(&state, HandMove::Wait, &lifted, &in_the_way),
                };
                (played, told(stage, left, movement))
            };
            Some([both, without_b.map(|movement| left(b, a, movement)), without_a.map(|movement| left(a, b, movement))])
        })
        .collect();
    // By weight: how much is in the way, and how much is not.
    type Sums = [(f64, f64, bool); 3];
    let mut sums: BTreeMap<(u16, bool, [u32; 2]), Sums> = BTreeMap::new();
    for (pair, found) in pairs.iter().zip(found) {
        let (Some(mut found), record) = (found, &exploration.records[pair.record]) else { continue };
        let mut behaviours = pair.behaviours.map(|one| one as u32);
        if behaviours[0] > behaviours[1] {
            behaviours.swap(0, 1);
            found.swap(1, 2);
        }
        let sums = sums.entry((record.stage, record.as_always, behaviours)).or_default();
        for (sum, found) in sums.iter_mut().zip(found) {
            let Some((holds, told)) = found else { continue };
            *sum = (sum.0 + pair.weight * holds, sum.1 + pair.weight * (1.0 - holds), told);
        }
    }
    let differs = |(holds, not, told): (f64, f64, bool)| holds + not > 0.0 && (holds > not) != told;
    (sums.into_iter())
        .map(|((stage, as_always, behaviours), sums)| Together {
            stage,
            as_always,
            behaviours,
            otherwise: sums.map(differs),
        })
        .filter(|one| one.otherwise.contains(&true))
        .collect()
}
