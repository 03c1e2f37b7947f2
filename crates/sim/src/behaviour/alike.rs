//! Two loose contacts of one chain do the same wherever they are, except beside what holds the chain on between them. So
//! they are behaviours of their own, but played once: only beside what tells them apart each is played by itself.

use super::Behaviour;
use machine::model::{FaultEffect, Forced, InputStage, OutputStage};

/// Puts behaviours that do the same next to each other, and notes which runs stand for which.
pub(super) fn put_together(found: Vec<Behaviour>) -> Vec<Behaviour> {
    let mut sorted: Vec<(Vec<FaultEffect>, Behaviour)> = Vec::with_capacity(found.len());
    for behaviour in found {
        let anywhere = anywhere(&behaviour);
        let after = sorted.iter().rposition(|(known, _)| !known.is_empty() && *known == anywhere);
        let at = after.map_or(sorted.len(), |last| last + 1);
        sorted.insert(at, (anywhere, behaviour));
    }
    let holds_on: Vec<Vec<FaultEffect>> = sorted.iter().map(|(_, behaviour)| held_on(behaviour)).collect();
    let mut first = 0;
    for index in 0..sorted.len() {
        if sorted[index].0.is_empty() || sorted[index].0 != sorted[first].0 {
            first = index;
        }
        let anywhere = &sorted[index].0;
        let meets =
            |held: &Vec<FaultEffect>| held.iter().any(|chain| anywhere.iter().any(|one| chain_of(*one) == *chain));
        let apart = (holds_on.iter().enumerate()).filter(|(_, held)| meets(held));
        let apart = apart.map(|(other, _)| other as u32).collect();
        let behaviour = &mut sorted[index].1;
        behaviour.apart = apart;
        behaviour.runs_as = first as u32;
    }
    sorted.into_iter().map(|(_, behaviour)| behaviour).collect()
}

/// What a loose contact does, whatever its place in the chain; nothing for all other behaviours.
fn anywhere(behaviour: &Behaviour) -> Vec<FaultEffect> {
    let only_loose = behaviour.effects.iter().all(FaultEffect::comes_and_goes);
    if !behaviour.from_the_beginning || !only_loose {
        return Vec::new();
    }
    let mut effects: Vec<FaultEffect> = behaviour.effects.iter().map(|effect| moved(*effect)).collect();
    effects.sort_unstable();
    effects
}

fn moved(effect: FaultEffect) -> FaultEffect {
    match effect {
        FaultEffect::Input(input, _, forced) => FaultEffect::Input(input, InputStage::Card, forced),
        FaultEffect::Output(output, _, forced) => FaultEffect::Output(output, OutputStage::Coil, forced),
        other => other,
    }
}

/// The chains that a behaviour holds on, at whatever place.
fn held_on(behaviour: &Behaviour) -> Vec<FaultEffect> {
    let on = |effect: &&FaultEffect| {
        matches!(effect, FaultEffect::Input(_, _, Forced::On) | FaultEffect::Output(_, _, Forced::On))
    };
    behaviour.effects.iter().filter(on).map(|effect| chain_of(*effect)).collect()
}

/// The chain that an effect is in, as the effect of holding its end on.
fn chain_of(effect: FaultEffect) -> FaultEffect {
    match moved(effect) {
        FaultEffect::Input(input, stage, _) => FaultEffect::Input(input, stage, Forced::On),
        FaultEffect::Output(output, stage, _) => FaultEffect::Output(output, stage, Forced::On),
        other => other,
    }
}

impl Behaviour {
    /// Whether it is played by itself beside this one even if its runs are otherwise those of another, or another's its.
    pub(crate) fn is_apart(&self, beside: usize) -> bool {
        self.apart.contains(&(beside as u32))
    }

    /// The number of the behaviour under which its runs stand beside another, or with nothing beside it.
    pub(crate) fn runs_as(&self, own: usize, beside: Option<usize>) -> usize {
        if beside.is_some_and(|beside| self.is_apart(beside)) { own } else { self.runs_as as usize }
    }
}
