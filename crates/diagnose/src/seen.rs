//! How probable all that was seen is, given how the machine stands and what is wrong with it.

use crate::class::{Class, bears_on};
use crate::evidence::Moment;
use crate::panel::{LampChange, LampTruth};
use crate::tally::Doubt;
use crate::world::World;
use machine::id::{DeviationId, Id};
use machine::model::Observable;
use sim::{Situation, View};
use smallvec::SmallVec;
use std::borrow::Cow;

/// A member of each class to reckon with. Members of a class bear alike on the evidence, but only
/// where they can be there together with those of the other.
fn representatives(world: &World, set: &[&Class]) -> SmallVec<[DeviationId; 2]> {
    let mut chosen = SmallVec::new();
    if set.len() > 1 && go_together(world, set, &mut chosen) {
        return chosen;
    }
    set.iter().map(|class| class.representative()).collect()
}

/// Chooses a member of each class that excludes none of those chosen before; gives whether there are such.
fn go_together(world: &World, set: &[&Class], chosen: &mut SmallVec<[DeviationId; 2]>) -> bool {
    let Some((class, others)) = set.split_first() else { return true };
    class.members.iter().any(|member| {
        let excluded = chosen.iter().any(|other| world.prior.group(*other) == world.prior.group(*member));
        if excluded {
            return false;
        }
        chosen.push(*member);
        let found = go_together(world, others, chosen);
        if !found {
            chosen.pop();
        }
        found
    })
}

/// What was said of positions and answered to checks in one moment, compiled for one world.
pub(crate) struct Looks<'e> {
    said: Vec<Look<'e>>,
}

/// One thing that was looked at, what was said of it, and how often that is wrong.
struct Look<'e> {
    what: Cow<'e, Observable>,
    said: Option<usize>,
    error: f64,
}

impl Look<'_> {
    /// The probability of what was said.
    fn share(&self, view: &View<'_>) -> f64 {
        let shares = view.answers(&self.what);
        reported(&shares, self.said.unwrap_or(shares.len() - 1), self.error)
    }
}

impl<'e> Looks<'e> {
    pub fn new(world: &'e World, doubt: &Doubt, moment: &Moment) -> Self {
        let positions = moment.positions.iter().map(|report| Look {
            what: Cow::Owned(Observable::Position(report.mechanism)),
            said: report.position.map(usize::from),
            error: doubt.position,
        });
        let checks = moment.checks.iter().filter_map(|report| {
            let check = world.machine.checks.get(report.check)?;
            Some(Look { what: Cow::Borrowed(&check.observes), said: Some(report.answer), error: check.error })
        });
        Self { said: positions.chain(checks).collect() }
    }

    /// By what was looked at: the probability of what was said in this situation, with nothing there that bears on it.
    pub fn each<'l>(&'l self, world: &'l World, situation: &'l Situation) -> impl Iterator<Item = f64> + 'l {
        let view = View::new(&world.machine, &world.plant, situation, &[]);
        self.said.iter().map(move |look| look.share(&view))
    }

    /// Which of it these deviations bear on, by its place; in rising order.
    pub fn touched_by(&self, world: &World, class: &Class) -> Touched {
        let touched = |look: &Look<'_>| bears_on(&world.machine, class.representative(), &look.what);
        let places = self.said.iter().enumerate().filter(|(_, look)| touched(look));
        places.map(|(place, _)| place as u32).collect()
    }

    /// The probability of all that was said with these deviations there, which bear on what is `touched`; where it is
    /// known for each by itself (see [`Looks::each`]) and for all together what they are if nothing bears on it.
    pub fn with(
        &self,
        world: &World,
        situation: &Situation,
        (each, all): (&[f64], f64),
        set: &[&Class],
        touched: &[u32],
    ) -> f64 {
        let deviations = representatives(world, set);
        let view = View::new(&world.machine, &world.plant, situation, &deviations);
        let places = || touched.iter().map(|place| *place as usize);
        let before: f64 = places().map(|place| each[place]).product();
        if before > 0.0 {
            return all / before * places().map(|place| self.said[place].share(&view)).product::<f64>();
        }
        let shares = self.said.iter().zip(each).enumerate();
        shares
            .map(|(place, (look, share))| if touched.contains(&(place as u32)) { look.share(&view) } else { *share })
            .product()
    }
}

/// What of all that was looked at something bears on, by its place, in rising order.
pub(crate) type Touched = SmallVec<[u32; 4]>;

/// What one or the other bears on.
pub(crate) fn either(one: &Touched, other: &Touched) -> Touched {
    let mut both = one.clone();
    both.extend(other.iter().copied().filter(|place| !one.contains(place)));
    both.sort_unstable();
    both
}

/// The probability of an answer, when each has a share of the truth and errors go evenly to the others.
pub(crate) fn reported(shares: &[f64], said: usize, error: f64) -> f64 {
    let others = (shares.len() - 1).max(1) as f64;
    let right = shares.get(said).copied().unwrap_or(0.0);
    right * (1.0 - error) + (1.0 - right) * error / others
}

/// The lamps that show something else than the situation says, with these deviations there.
/// Each comes with whether it is latent.
pub(crate) fn lamp_changes(
    world: &World,
    situation: &Situation,
    truth: &LampTruth,
    set: &[(&Class, bool)],
) -> Vec<LampChange> {
    let mut lamps: Vec<usize> = set
        .iter()
        .filter(|(class, latent)| class.changes_lamps(*latent))
        .flat_map(|(class, _)| class.lamps.iter().copied())
        .collect();
    if lamps.is_empty() {
        return Vec::new();
    }
    lamps.sort_unstable();
    lamps.dedup();
    let classes: Vec<&Class> = set.iter().map(|(class, _)| *class).collect();
    let deviations = representatives(world, &classes);
    let view = View::new(&world.machine, &world.plant, situation, &deviations);
    let error = set.iter().any(|(class, _)| class.error_lamp);
    world.panel.changes(&view, truth, &lamps, error)
}

/// What the lamps show with these deviations there, those included that they change by themselves, where the situation
/// alone says `truth`.
pub(crate) fn lamps_shown(
    world: &World,
    situation: &Situation,
    truth: LampTruth,
    deviations: &[DeviationId],
) -> LampTruth {
    let class = |deviation: &DeviationId| &world.classes[world.class_of[deviation.index()] as usize];
    let set: SmallVec<[(&Class, bool); 2]> = deviations.iter().map(|one| (class(one), true)).collect();
    let changes = lamp_changes(world, situation, &truth, &set);
    if changes.is_empty() { truth } else { truth.with(&changes) }
}
