//! Whether a machine runs when somebody tries, and what is in its way if it does not.

use crate::aftermath::Stood;
use crate::world::{RoutineWorld, World};
use machine::model::FaultEffect;
use sim::{Situation, State};

/// How a call began, and what came of it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SoFar {
    /// Whether all had gone as always when somebody called.
    pub as_always: bool,
    /// Whether anything has been put right since.
    pub put_right: bool,
}

/// Whether the machine runs, with these behaviours left that are there and not put right.
///
/// In its way is what holds something otherwise now, and, unless all had gone as always when somebody called, what by
/// itself can make the routine go otherwise. Where it had not, something has to have been put right. What somebody left
/// somewhere holds nothing, but as long as it is there it is in the way of a routine that goes otherwise by it.
pub(crate) fn runs(world: &World, routine: &RoutineWorld, stood: &Stood, so_far: SoFar, left: &[usize]) -> bool {
    if left.is_empty() {
        return true;
    }
    if !so_far.as_always && (!so_far.put_right || left.iter().any(|one| routine.disturbs[*one])) {
        return false;
    }
    !hold_up(world, routine, (&stood.0, &stood.1), left)
}

/// Whether any of these behaviours, which are at work in a machine that stands so, is in its way now: it holds something
/// otherwise, or somebody left something somewhere.
pub(crate) fn hold_up(
    world: &World,
    routine: &RoutineWorld,
    (here, state): (&Situation, &State),
    left: &[usize],
) -> bool {
    if left.iter().any(|one| left_in_the_way(world, routine, here, *one)) {
        return true;
    }
    let effects: Vec<FaultEffect> = left.iter().flat_map(|one| world.effects_of(*one).iter().copied()).collect();
    routine.exploration.hold_otherwise(&world.plant, state, &effects)
}

/// Whether this behaviour is that somebody left something somewhere, where it still is and the routine goes otherwise by it.
pub(crate) fn left_in_the_way(world: &World, routine: &RoutineWorld, here: &Situation, behaviour: usize) -> bool {
    routine.disturbs[behaviour] && routine.exploration.still_left_there(&world.plant, here, world.effects_of(behaviour))
}
