//! Faults that come and go: which lamps to watch, and for how long.
//!
//! A contact that chatters stays made for an exponentially distributed time with mean `m` (the library or the
//! machine file says it) before it breaks. Its lamp shows a break only while it should be lit, for the share `s`
//! of the cycle. Watched for the time `t`, it breaks at least once with probability 1 − exp(−s·t/m); this reaches
//! 90 % after `t = m·ln 10 / s` ([`seconds_to_see`]). A standstill that comes once in `N` cycles is seen within `n`
//! cycles with probability 1 − (1 − 1/N)ⁿ, which reaches 90 % after `n = ln 0.1 / ln(1 − 1/N)`
//! ([`cycles_to_see`]). Breaks shorter than the eye can see, about 50 ms, need a recording instead.

use crate::answer::{Answer, Member};
use crate::diagnoser::Diagnoser;
use crate::world::World;
use machine::id::RoutineId;
use machine::model::{FaultEffect, Forced};
use serde::Serialize;
use std::collections::BTreeMap;

/// The chance with which something should be seen.
pub const CHANCE: f64 = 0.9;

/// Causes below this are not watched for.
const WORTH_WATCHING: f64 = 0.001;
/// Shorter than this nobody sees a lamp go dark, ms (common practice, no source).
const SEEN_MS: u32 = 50;

/// Lamps to watch.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Watch {
    /// The lamps; several of them go dark together.
    pub lamps: Vec<String>,
    /// What would be wrong then.
    pub causes: Vec<String>,
    /// How probable that is.
    pub probability: f64,
    /// Seconds of running time after which a break was seen with a chance of [`CHANCE`]; none if the lamp is never lit.
    pub seconds: Option<f64>,
    /// The same in cycles, rounded up.
    pub cycles: Option<u64>,
    /// Whether the breaks are long enough to be seen by eye.
    pub by_eye: bool,
}

/// Seconds after which a break of a contact is seen with a chance of [`CHANCE`]: made for `made_ms` at a time on
/// average, its lamp lit for this share of the time. `None` for a lamp that is never lit.
///
/// ```
/// use diagnose::call::seconds_to_see;
/// // Made for 10 s on average and lit half of the time: 20 s · ln 10.
/// assert!((seconds_to_see(10_000.0, 0.5).unwrap() - 46.05).abs() < 0.01);
/// assert_eq!(seconds_to_see(10_000.0, 0.0), None);
/// ```
#[must_use]
pub fn seconds_to_see(made_ms: f64, share_lit: f64) -> Option<f64> {
    (share_lit > 0.0 && made_ms >= 0.0).then(|| -libm::log(1.0 - CHANCE) * made_ms / 1_000.0 / share_lit)
}

/// Cycles within which a failure that comes once in so many is seen with a chance of [`CHANCE`].
///
/// ```
/// use diagnose::call::cycles_to_see;
/// assert_eq!(cycles_to_see(20.0), 45);
/// assert_eq!(cycles_to_see(1.0), 1);
/// ```
#[must_use]
pub fn cycles_to_see(once_in: f64) -> u64 {
    if once_in <= 1.0 || !once_in.is_finite() {
        return 1;
    }
    let cycles = libm::log(1.0 - CHANCE) / libm::log1p(-1.0 / once_in);
    whole(cycles)
}

/// Rounded up, at least 1.
fn whole(cycles: f64) -> u64 {
    // Clamped, so the conversion is exact.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let whole = cycles.ceil().clamp(1.0, 1e12) as u64;
    whole
}

/// What to watch for the causes that come and go, the most probable first; and the time of a cycle, ms.
pub(super) fn watch(diagnoser: &Diagnoser, answer: &Answer, routine: RoutineId) -> (Vec<Watch>, u64) {
    let mut all: Vec<Watch> = Vec::new();
    let mut usual_ms = None;
    let mut told: Vec<&str> = Vec::new();
    for world in diagnoser.worlds() {
        let known = |key: &str| world.machine.deviations.find(|row| row.key == key).is_some();
        // A cause is watched for on the most probable alternative that has it.
        let members: Vec<&Member> = (answer.causes.iter().flat_map(|cause| &cause.members))
            .filter(|member| !told.contains(&member.key.as_str()) && known(&member.key))
            .collect();
        told.extend(members.iter().map(|member| member.key.as_str()));
        if usual_ms.is_some() && members.is_empty() {
            continue;
        }
        let (watches, cycle_ms) = watch_on(world, &members, routine);
        usual_ms.get_or_insert(cycle_ms);
        for watch in watches {
            match all.iter_mut().find(|known| known.lamps == watch.lamps) {
                Some(known) => {
                    known.causes.extend(watch.causes);
                    known.probability += watch.probability;
                    known.by_eye |= watch.by_eye;
                    known.seconds = longer(known.seconds, watch.seconds);
                    known.cycles = known.cycles.max(watch.cycles);
                }
                None => all.push(watch),
            }
        }
    }
    all.retain(|watch| watch.probability >= WORTH_WATCHING);
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    (all, usual_ms.unwrap_or(0))
}

/// The slower of two decides how long to look.
fn longer(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    match (one, other) {
        (Some(one), Some(other)) => Some(one.max(other)),
        (one, other) => one.or(other),
    }
}

/// The same for causes that this alternative has.
fn watch_on(world: &World, members: &[&Member], routine: RoutineId) -> (Vec<Watch>, u64) {
    let machine = &world.machine;
    if machine.routines.get(routine).is_none() {
        return (Vec::new(), 0);
    }
    let run = sim::play(machine, &world.plant, routine, &[], sim::Limits::default(), None);
    let from = run.instants.iter().find(|one| matches!(one.cause, sim::Cause::Hand(_))).map_or(0, |one| one.at_ms);
    let cycle_ms = run.instants.last().map_or(0, |one| one.at_ms.saturating_sub(from));
    let truths: Vec<_> = run.instants.iter().map(|one| world.panel.truth(&world.plant, &one.situation)).collect();
    let share = |lamp: usize| -> f64 {
        let lit: u64 = (run.instants.windows(2).zip(&truths))
            .filter(|(pair, truth)| pair[0].at_ms >= from && truth.state(lamp) == crate::evidence::LampState::Lit)
            .map(|(pair, _)| pair[1].at_ms.saturating_sub(pair[0].at_ms))
            .sum();
        if cycle_ms == 0 { 0.0 } else { lit as f64 / cycle_ms as f64 }
    };
    let mut by_lamps: BTreeMap<Vec<usize>, Watch> = BTreeMap::new();
    for member in members.iter().copied() {
        let Some((_, row)) = machine.deviations.find(|row| row.key == member.key) else { continue };
        for effect in &row.effects {
            let (FaultEffect::Input(_, _, Forced::Chatters(made, broken))
            | FaultEffect::Output(_, _, Forced::Chatters(made, broken))
            | FaultEffect::Supply(_, Forced::Chatters(made, broken))) = *effect
            else {
                continue;
            };
            let mut lamps = world.panel.lamps_of(machine, *effect);
            lamps.sort_unstable();
            lamps.dedup();
            let best = lamps.iter().map(|lamp| share(*lamp)).fold(0.0, f64::max);
            let seconds = seconds_to_see(f64::from(made), best);
            let watch = by_lamps.entry(lamps.clone()).or_insert_with(|| Watch {
                lamps: lamps.iter().map(|lamp| world.panel.label(*lamp).to_owned()).collect(),
                causes: Vec::new(),
                probability: 0.0,
                seconds: None,
                cycles: None,
                by_eye: false,
            });
            watch.causes.push(member.with_device());
            watch.probability += member.probability;
            watch.by_eye |= broken >= SEEN_MS;
            watch.seconds = longer(watch.seconds, seconds);
        }
    }
    let mut all: Vec<Watch> = by_lamps.into_values().filter(|watch| !watch.lamps.is_empty()).collect();
    for watch in &mut all {
        watch.cycles = watch.seconds.filter(|_| cycle_ms > 0).map(|seconds| whole(seconds * 1_000.0 / cycle_ms as f64));
    }
    (all, cycle_ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_the_time_the_chance_is_nine_in_ten() {
        for (made, share) in [(500.0, 1.0), (30_000.0, 0.2), (4_000.0, 0.75)] {
            let seconds = seconds_to_see(made, share).unwrap_or(0.0);
            let seen = 1.0 - (-share * seconds * 1_000.0 / made).exp();
            assert!((seen - CHANCE).abs() < 1e-9, "{made} {share}: {seen}");
        }
    }

    #[test]
    fn after_the_cycles_the_chance_is_nine_in_ten_and_not_after_one_less() {
        for once_in in [2.0_f64, 7.0, 20.0, 300.0] {
            let cycles = i32::try_from(cycles_to_see(once_in)).unwrap_or(0);
            let seen = |cycles: i32| 1.0 - (1.0 - 1.0 / once_in).powi(cycles);
            assert!(seen(cycles) >= CHANCE - 1e-12 && seen(cycles - 1) < CHANCE, "{once_in}: {cycles}");
        }
    }
}
