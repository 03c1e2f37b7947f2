//! Diagnosis from consistency alone: no probabilities, no misreadings, only which devices can be at
//! fault if a full report is taken at its word.
//!
//! A set of devices is **consistent** with a report if each of them, in one of its fault modes from
//! the beginning, lets the machine come to show just what was reported. A **minimal diagnosis** is
//! such a set without a smaller one inside it; a **minimal conflict** is a smallest set of devices of
//! which at least one must be at fault, hence a minimal hitting set of the minimal diagnoses, and the
//! other way round (R. Reiter, A theory of diagnosis from first principles, Artificial Intelligence 32,
//! 1987; J. de Kleer and B. C. Williams, Diagnosing multiple faults, the same, 1987; from memory). The
//! duality supposes that a device at fault can also do the right thing by chance, so that whatever
//! contains a diagnosis is one.
//!
//! Meant for small machines, for tests and for the review of a design: the cost grows with the
//! product of the fault modes in a set.

use machine::Machine;
use machine::id::{DeviceId, InputId, RoutineId};
use machine::model::FaultEffect;
use sim::{Engine, Limits, Plant, Stop};

/// The minimal diagnoses with at most `most` devices, the smallest first, then in the order of the file.
///
/// `observed` says for each input whether it was read as lit when the routine was done; no fault at all
/// (an empty set) is the only diagnosis if the healthy machine shows the same.
#[must_use]
pub fn minimal_diagnoses(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    observed: &[(InputId, bool)],
    most: usize,
) -> Vec<Vec<DeviceId>> {
    let suspects: Vec<DeviceId> =
        machine.devices.iter().filter(|(_, row)| !row.modes.is_empty()).map(|(id, _)| id).collect();
    let mut found: Vec<Vec<DeviceId>> = Vec::new();
    for size in 0..=most.min(suspects.len()) {
        let smaller = found.len();
        for set in subsets(&suspects, size) {
            let contains_one = found[..smaller].iter().any(|known| known.iter().all(|device| set.contains(device)));
            if !contains_one && is_consistent(machine, plant, routine, observed, &set) {
                found.push(set);
            }
        }
    }
    found
}

/// Whether these devices being at fault, each in some mode, and no other, explains the observation.
#[must_use]
pub fn is_consistent(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    observed: &[(InputId, bool)],
    devices: &[DeviceId],
) -> bool {
    let mut modes = vec![0; devices.len()];
    loop {
        let effects: Vec<FaultEffect> = devices
            .iter()
            .zip(&modes)
            .filter_map(|(device, mode)| machine.devices.get(*device)?.modes.get(*mode))
            .flat_map(|mode| machine.deviations[*mode].effects.iter().copied())
            .collect();
        if shows(machine, plant, routine, observed, &effects) {
            return true;
        }
        // The next combination of modes, counted like a mileage.
        let next = devices.iter().zip(&mut modes).find_map(|(device, mode)| {
            *mode += 1;
            if *mode < machine.devices[*device].modes.len() {
                return Some(());
            }
            *mode = 0;
            None
        });
        if next.is_none() {
            return false;
        }
    }
}

/// Whether the routine, done with these effects there from the beginning, ends in what was observed.
fn shows(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    observed: &[(InputId, bool)],
    effects: &[FaultEffect],
) -> bool {
    let mut engine = Engine::new(plant);
    let mut stands = engine.impose(effects).is_ok() && engine.power_on().is_ok();
    let Some(routine) = machine.routines.get(routine) else { return false };
    for action in &routine.actions {
        stands = stands && engine.run_to_standing(Limits::default()) == Stop::Standing;
        stands = stands && engine.act(action.movement).is_ok();
    }
    stands
        && engine.run_to_standing(Limits::default()) == Stop::Standing
        && observed.iter().all(|(input, lit)| engine.on(plant.layout().input(*input)) == *lit)
}

/// The minimal conflicts that belong to minimal diagnoses: their minimal hitting sets.
#[must_use]
pub fn minimal_conflicts(diagnoses: &[Vec<DeviceId>]) -> Vec<Vec<DeviceId>> {
    minimal_hitting_sets(diagnoses)
}

/// The smallest sets that have something in common with each of these (C. Berge, Hypergraphs, 1989,
/// from memory: one set after the other is taken in, and what is not minimal dropped).
#[must_use]
pub fn minimal_hitting_sets<T: Copy + Ord>(sets: &[Vec<T>]) -> Vec<Vec<T>> {
    let mut hitting: Vec<Vec<T>> = vec![Vec::new()];
    for set in sets {
        let mut next: Vec<Vec<T>> = Vec::new();
        for known in &hitting {
            if set.iter().any(|one| known.contains(one)) {
                next.push(known.clone());
                continue;
            }
            for one in set {
                let mut longer = known.clone();
                longer.push(*one);
                longer.sort_unstable();
                next.push(longer);
            }
        }
        next.sort_unstable_by(|a, b| (a.len(), a).cmp(&(b.len(), b)));
        next.dedup();
        hitting = Vec::new();
        for set in next {
            if !hitting.iter().any(|smaller| smaller.iter().all(|one| set.contains(one))) {
                hitting.push(set);
            }
        }
    }
    hitting
}

/// All subsets of this size, in the order of the list.
fn subsets<T: Copy>(list: &[T], size: usize) -> Vec<Vec<T>> {
    if size == 0 {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for (at, first) in list.iter().enumerate() {
        for mut rest in subsets(&list[at + 1..], size - 1) {
            rest.insert(0, *first);
            all.push(rest);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hitting_sets_of_hitting_sets_are_the_sets_again() {
        let sets = vec![vec![1], vec![2, 3], vec![2, 4]];
        assert_eq!(minimal_hitting_sets(&sets), [vec![1, 2], vec![1, 3, 4]]);
        assert_eq!(minimal_hitting_sets(&minimal_hitting_sets(&sets)), sets);
    }

    #[test]
    fn nothing_to_hit_needs_nothing_and_an_empty_set_cannot_be_hit() {
        assert_eq!(minimal_hitting_sets::<u8>(&[]), [Vec::<u8>::new()]);
        assert!(minimal_hitting_sets::<u8>(&[vec![]]).is_empty());
    }
}
