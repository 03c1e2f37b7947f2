//! Deviations that set in after the call has begun: while somebody goes on with the machine, or looks again.
//!
//! The moments are those of the exploration: in a stage of the routine the [`Slot`](super::Slot)s of that stage,
//! and wherever else time passes the same share for the same time. As in the exploration, a deviation that comes into play in
//! an epoch is forked at its beginning, for all moments since it would have come into play last; what comes
//! into play in none of them is latent at the end.

use super::Exploration;
use crate::behaviour::Quiet;
use crate::engine::Engine;
use crate::plant::Plant;
use crate::routine::{Mark, Path, STAGE_END, StageEnd};
use crate::situation::Situation;
use crate::state::State;
use machine::model::{FaultEffect, HandAction};
use std::sync::Arc;

/// What becomes of a machine on which a deviation sets in meanwhile.
#[derive(Clone, Debug)]
pub struct SetIn {
    /// Which behaviour sets in, by its number in [`Exploration::behaviours`].
    pub behaviour: usize,
    /// Share of its moments in which it does, times the probability of this branch.
    pub share: f64,
    /// Whether it has come into play. If it has not, its effects are not at work in `state` yet.
    pub in_play: bool,
    /// What the machine looks like then.
    pub situation: Situation,
    /// Its state.
    pub state: State,
}

impl Exploration {
    /// Share of all moments at which faults set in, up to the end of this stage.
    #[must_use]
    pub fn share_up_to(&self, stage: u16) -> f64 {
        self.slots.iter().filter(|slot| slot.stage <= stage).map(|slot| slot.share).sum()
    }

    /// Goes on from a state as [`Exploration::go_on`] does, with `there` at work from the beginning, and gives what
    /// becomes of it for each deviation that sets in while the hand acts or the machine moves. `stage` is the
    /// routine's stage that the act begins, if it is one of the routine. What is there from the beginning can't set in.
    #[must_use]
    pub fn set_in_meanwhile(
        &self,
        plant: &Plant,
        state: &State,
        there: &[FaultEffect],
        action: &HandAction,
        stage: Option<u16>,
    ) -> Vec<SetIn> {
        let mut engine = Engine::new(plant);
        engine.restore(state);
        // A program that does not come to rest is found out again when the hand acts.
        let _ = engine.impose(there);
        let actions = [action.clone()];
        let player = self.led(plant, &actions);
        let mut quiet = Quiet::new(&self.behaviours);
        let mut found = Vec::new();
        for path in player.go_on_with_marks(&mut engine) {
            let shares = self.moments_of(&path, stage);
            for (behaviour, it) in self.behaviours.iter().enumerate().filter(|(_, it)| !it.from_the_beginning) {
                let mut give = |share: f64, in_play: bool, end: Option<(Situation, State)>| {
                    if let Some((situation, state)) = end.filter(|_| share > 0.0) {
                        found.push(SetIn { behaviour, share, in_play, situation, state });
                    }
                };
                let mut pending = 0.0;
                for (mark, share) in path.marks.iter().zip(&shares) {
                    pending += share;
                    if pending <= 0.0 || !quiet.in_play(behaviour, mark, &mut engine) {
                        continue;
                    }
                    let (forks, _) = player.play_from_mark(&mut engine, mark, &it.effects, false);
                    let share = std::mem::take(&mut pending) * path.probability;
                    for fork in forks {
                        give(share * fork.probability, true, end_of(fork.ends));
                    }
                }
                // Where it has come into play nowhere, it is there in this branch as in all others, each with its part.
                give(pending * path.probability, false, end_of(path.ends.clone()));
            }
        }
        found
    }

    /// By mark of a run of one stage: the share of moments that begin there, or since the mark before.
    fn moments_of(&self, path: &Path, stage: Option<u16>) -> Vec<f64> {
        let mut shares = vec![0.0; path.marks.len()];
        let of_stage = || self.slots.iter().filter(|slot| stage == Some(slot.stage));
        if of_stage().next().is_some() {
            for slot in of_stage() {
                if let Some(at) = path.marks.iter().position(|mark| mark.epoch >= slot.epoch) {
                    shares[at] += slot.share;
                }
            }
            return shares;
        }
        let pause = self.options.hand_pause_ms;
        // Before each act of the routine people take the same time, so that tells the share of a millisecond.
        let usual = self.slots.iter().find(|slot| slot.stage > 0 && slot.epoch == 0);
        let of_a_millisecond = usual.map_or(0.0, |slot| slot.share / pause.max(1) as f64);
        for (at, (mark, share)) in path.marks.iter().zip(&mut shares).enumerate() {
            let ms = match mark.epoch {
                0 => pause,
                STAGE_END => 0,
                _ => length(mark, path.marks.get(at + 1)).max(self.options.least_epoch_ms),
            };
            *share = of_a_millisecond * ms as f64;
        }
        shares
    }
}

fn length(mark: &Mark, next: Option<&Arc<Mark>>) -> u64 {
    next.map_or(0, |next| next.state.now().saturating_sub(mark.state.now()))
}

fn end_of(mut ends: Vec<StageEnd>) -> Option<(Situation, State)> {
    let end = ends.pop()?;
    Some((end.situation, end.state?))
}
