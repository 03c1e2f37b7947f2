//! How a standing point looks to whoever calls, and what they say of it.

use crate::evidence::Complaint;
use machine::Machine;
use machine::model::ProgramFact;
use sim::{Plant, Situation, Stop};

/// The kinds of standing still that people tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Standing {
    /// As always at this point of the routine; it waits for a hand.
    WaitsForYou,
    /// As always at the end of the routine.
    Finished,
    /// Every chart is in its first steps, though it should have begun.
    NotStarted,
    /// It stopped on the way.
    Stalled,
    /// It went to an alarm, or a time-out holds it.
    Tripped,
    /// The controller does not run.
    ControllerDown,
    /// The same goes round for ever, or the program does not come to rest.
    Restless,
}

impl Standing {
    /// Sorts the end of a run; `nominal` is how this stage ends when nothing is wrong, and
    /// `as_always` says whether the run came there in the same way.
    #[must_use]
    pub fn of(
        machine: &Machine,
        plant: &Plant,
        situation: &Situation,
        nominal: &Situation,
        as_always: bool,
        last_stage: bool,
    ) -> Self {
        let layout = plant.layout();
        if as_always {
            return if last_stage { Self::Finished } else { Self::WaitsForYou };
        }
        if !situation.on(layout.running()) {
            return Self::ControllerDown;
        }
        // A thermostat that clicks on for ever beside the sequence is no restlessness if it always does.
        if situation.stop != nominal.stop && situation.stop != Stop::Standing {
            return Self::Restless;
        }
        let tripped = machine.steps.iter().any(|(id, step)| step.alarm && situation.on(layout.step(id)))
            || (0..machine.charts.len()).any(|chart| situation.on(layout.timed_out(chart)));
        if tripped {
            return Self::Tripped;
        }
        let at_rest = machine.steps.iter().all(|(id, step)| {
            plant.fact(situation, ProgramFact::Step(id)) == machine.charts[step.chart].initial.contains(&id)
        });
        if at_rest { Self::NotStarted } else { Self::Stalled }
    }

    /// The probability of each complaint, given this; they sum to 1 (common practice, no source).
    #[must_use]
    pub fn complains(self, complaint: Complaint) -> f64 {
        let [wont_start, stops_midway, wont_finish, wrong_result] = match self {
            Self::WaitsForYou => [0.60, 0.20, 0.15, 0.05],
            Self::Finished => [0.15, 0.10, 0.15, 0.60],
            Self::NotStarted => [0.85, 0.08, 0.05, 0.02],
            Self::Stalled => [0.12, 0.60, 0.25, 0.03],
            Self::Tripped => [0.15, 0.60, 0.20, 0.05],
            Self::ControllerDown => [0.70, 0.25, 0.04, 0.01],
            Self::Restless => [0.10, 0.30, 0.40, 0.20],
        };
        match complaint {
            Complaint::WontStart => wont_start,
            Complaint::StopsMidway => stops_midway,
            Complaint::WontFinish => wont_finish,
            Complaint::WrongResult => wrong_result,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_complaints_sum_to_one_for_every_way_of_standing() {
        for standing in [
            Standing::WaitsForYou,
            Standing::Finished,
            Standing::NotStarted,
            Standing::Stalled,
            Standing::Tripped,
            Standing::ControllerDown,
            Standing::Restless,
        ] {
            let sum: f64 =
                [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult]
                    .into_iter()
                    .map(|complaint| standing.complains(complaint))
                    .sum();
            assert!((sum - 1.0).abs() < 1e-12, "{standing:?} sums to {sum}");
        }
    }
}
