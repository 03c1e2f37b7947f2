//! What can move when an operator puts something right or goes on, whatever the call is about: worked out for every
//! way to stand in which that helps, so that it can be said before anything was reported.

use crate::diagnoser::Diagnoser;
use crate::hypothesis::{Hypothesis, Stands};
use crate::next::{Movement, ToDo, movements};
use crate::renamed::same_remedy;
use crate::world::World;
use machine::id::{DeviationId, RemedyId, RoutineId};
use smallvec::{SmallVec, smallvec};

/// Ways to stand that are tried out for each thing to do.
const TRIED_OUT: usize = 24;

/// What can move when this remedy, in the numbers of the first alternative, is done where it helps.
#[must_use]
pub fn moved_by_remedy(diagnoser: &Diagnoser, remedy: RemedyId) -> Vec<Movement> {
    let worlds = diagnoser.worlds();
    let Some(first) = worlds.first() else { return Vec::new() };
    let cures = |world: &World, deviation: DeviationId| {
        let own = world.machine.deviations[deviation].remedy;
        own.is_some_and(|own| same_remedy(&world.machine, own, &first.machine) == Some(remedy))
    };
    let mut found = Vec::new();
    for (number, world) in worlds.iter().enumerate() {
        for (index, routine) in world.routines.iter().enumerate() {
            let exploration = &routine.exploration;
            let scale = world.scale(routine);
            let mut give = |record: usize, deviation: DeviationId, weight: f64| {
                found.push(standing(number, index, record, world, smallvec![deviation], scale * weight));
            };
            for (record, row) in exploration.records.iter().enumerate().filter(|(_, row)| row.second.is_none()) {
                match (row.first, row.latent) {
                    (Some(behaviour), _) => {
                        let running_as = exploration.running_as(behaviour as usize);
                        running_as
                            .flat_map(|one| &exploration.behaviours[one].members)
                            .filter(|one| cures(world, **one))
                            .for_each(|one| give(record, *one, row.weight * world.prior.odds(*one)));
                    }
                    (None, Some(latent)) => {
                        let shares = &exploration.latent[latent as usize];
                        for (behaviour, share) in exploration.behaviours.iter().zip(shares) {
                            let members = behaviour.members.iter().filter(|one| *share > 0.0 && cures(world, **one));
                            members.for_each(|one| give(record, *one, row.weight * share * world.prior.odds(*one)));
                        }
                    }
                    (None, None) => {}
                }
            }
        }
    }
    tried_out(diagnoser, found, &ToDo::Remedy(remedy))
}

/// What can move when somebody goes on after this stage of a routine of the first alternative because nothing seems
/// wrong: where nothing is, and, as it only seems so, with the likeliest single deviations too.
#[must_use]
pub fn moved_by_going_on(diagnoser: &Diagnoser, routine: RoutineId, stage: u16) -> Vec<Movement> {
    let Some(world) = diagnoser.worlds().first() else { return Vec::new() };
    let Some((index, row)) = world.routines.iter().enumerate().find(|(_, row)| row.routine == routine) else {
        return Vec::new();
    };
    let exploration = &row.exploration;
    let (mut fine, mut wrong) = (Vec::new(), Vec::new());
    for (number, record) in exploration.records.iter().enumerate() {
        match record.first {
            _ if record.stage != stage || record.second.is_some() => {}
            None => fine.push(standing(0, index, number, world, SmallVec::new(), record.weight)),
            Some(behaviour) => wrong.extend(exploration.behaviours[behaviour as usize].members.first().map(|one| {
                let weight = record.weight * world.prior.odds(*one);
                standing(0, index, number, world, smallvec![*one], weight)
            })),
        }
    }
    let mut all = tried_out(diagnoser, fine, &ToDo::GoOn);
    for one in tried_out(diagnoser, wrong, &ToDo::GoOn) {
        if all.iter().all(|known| known.mechanism != one.mechanism) {
            all.push(one);
        }
    }
    all
}

fn standing(
    number: usize,
    routine: usize,
    record: usize,
    world: &World,
    deviations: SmallVec<[DeviationId; 2]>,
    weight: f64,
) -> Hypothesis {
    let row = &world.routines[routine].exploration.records[record];
    let stands = Stands::Record { record: u32::try_from(record).unwrap_or(u32::MAX), in_play: row.in_play() };
    Hypothesis { world: number, routine, deviations, weight, stage: row.stage, stands }
}

fn tried_out(diagnoser: &Diagnoser, mut found: Vec<Hypothesis>, to_do: &ToDo) -> Vec<Movement> {
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found.truncate(TRIED_OUT);
    let total = found.iter().map(|one| one.weight).sum();
    movements(diagnoser, &found, total, to_do)
}
