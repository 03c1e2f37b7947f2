//! The whole business tried out: calls are drawn, a caller is simulated, the advice is followed to the end.
//!
//! What is really wrong is drawn from one machine (`nature`), the advice comes from another (`advisor`). Where
//! both are the same the trial asks whether the reckoning keeps its word; where nature has other rates,
//! other times, or faults that the advisor's file does not know, it asks what the advice is worth when
//! the file is wrong. Dice are seeded, and what a caller answers to one question does not depend on what was
//! asked before, so that several ways to choose can be compared on the very same calls.

mod disturbed;
mod figures;
mod policy;

pub use disturbed::Disturbance;
pub use figures::{Figures, Interval, Tenth};
pub use policy::Policy;
pub(crate) use policy::{Beginning, play};

use crate::caller::{Caller, Eyes, Truth, Urn};
use crate::diagnoser::Diagnoser;
use crate::evidence::Evidence;
use crate::next::{Terms, ToDo};
use rayon::prelude::*;

/// How a trial is done.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// How many calls.
    pub calls: usize,
    /// Which calls.
    pub seed: u64,
    /// Probability that a lamp is misread.
    pub misreading: f64,
    /// Probability that a lamp is not reported at first.
    pub unreported: f64,
    /// Probability that the caller does not know the answer to a check.
    pub does_not_know: f64,
    /// Steps after which a call is given up, whatever the advice.
    pub most_steps: usize,
    /// Prices, and how far to look ahead.
    pub terms: Terms,
}

impl Default for Trial {
    fn default() -> Self {
        Self {
            calls: 200,
            seed: 1,
            misreading: 0.02,
            unreported: 0.2,
            does_not_know: 0.03,
            most_steps: 200,
            terms: Terms::default(),
        }
    }
}

/// What was stated of the leading cause at one point of a call.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// The remedy that most probably is needed; none for a cause that is not in the file.
    pub leading: Option<ToDo>,
    /// With which probability, 0 to 1.
    pub probability: f64,
    /// Whether it was.
    pub is_so: bool,
}

/// How one call went.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// Minutes until the machine ran.
    pub minutes: f64,
    /// Whether it ran before the last resort.
    pub solved: bool,
    /// How often somebody had to go there.
    pub visits: usize,
    /// How much was asked.
    pub questions: usize,
    /// Whether the true cause was first before the repair that ended the call.
    pub true_first: bool,
    /// What was stated of the leading cause, at first and after each answer.
    pub stated: Vec<Stated>,
    /// What was done, with the minutes of each, visits left aside.
    pub done: Vec<(ToDo, f64)>,
}

/// A call that was drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Played {
    /// The keys of the deviations that were there, those in play first; none if the file does not know what was wrong.
    pub wrong: Option<Vec<String>>,
    /// How it went, in each of the ways.
    pub courses: Vec<Course>,
}

/// What a trial came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// By way to choose.
    pub figures: Vec<Figures>,
    /// The calls, in the order in which they were drawn.
    pub calls: Vec<Played>,
}

impl Trial {
    fn eyes(&self) -> Eyes {
        let Self { seed, misreading, unreported, does_not_know, .. } = *self;
        Eyes { seed, misreading, unreported, does_not_know }
    }

    /// Plays all calls in each of these ways; the exact optimum only if it can be worked out in every one of them.
    /// `done` is told after each call.
    pub fn run(&self, nature: &Diagnoser, advisor: &Diagnoser, policies: &[Policy], done: &(dyn Fn() + Sync)) -> Tried {
        let urn = Urn::of(nature, &Evidence::default());
        let mut dice = fastrand::Rng::with_seed(self.seed);
        let drawn: Vec<Truth> = (0..self.calls).filter_map(|_| urn.draw(&mut dice)).collect();
        let calls: Vec<(Truth, Vec<Option<Course>>)> = drawn
            .into_par_iter()
            .enumerate()
            .map(|(number, truth)| {
                let caller = Caller::new(nature, truth.clone(), self.eyes(), number as u64);
                let beginning = Beginning::of(&caller, advisor, self);
                let of = |policy: &Policy| play(caller.clone(), advisor, *policy, self, &beginning);
                let courses = policies.iter().map(of).collect();
                done();
                (truth, courses)
            })
            .collect();
        let whole = |which: usize| calls.iter().all(|(_, courses)| courses[which].is_some());
        let kept: Vec<bool> = (0..policies.len()).map(whole).collect();
        let calls: Vec<Played> = (calls.into_iter())
            .map(|(truth, courses)| {
                let courses = courses.into_iter().zip(&kept).filter(|(_, kept)| **kept);
                Played { wrong: truth.keys(nature), courses: courses.filter_map(|(course, _)| course).collect() }
            })
            .collect();
        let own = |which: usize| -> Vec<&Course> { calls.iter().map(|call| &call.courses[which]).collect() };
        let policies = policies.iter().zip(&kept).filter(|(_, kept)| **kept).enumerate();
        let figures = policies.map(|(which, (policy, _))| Figures::of(*policy, &own(which), &own(0))).collect();
        Tried { figures, calls }
    }
}
