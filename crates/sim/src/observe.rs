//! What somebody sees who looks at a stage of a chain, a supply or a mechanism.
//! Everything is worked out from the situation and from where the deviations sit;
//! nothing is looked up in a table of symptoms.

use crate::plant::Plant;
use crate::signal::Signal;
use crate::situation::Situation;
use machine::id::{DeviationId, InputId, MechanismId, OutputId, SupplyId};
use machine::model::{FaultEffect, Forced, InputStage, Observable, OutputStage, WorldFact};
use machine::{Condition, Machine};
use smallvec::SmallVec;

/// The probability of each answer to whoever looks.
pub type Shares = SmallVec<[f64; 4]>;

/// A machine at rest together with what is wrong with it.
#[derive(Clone, Copy, Debug)]
pub struct View<'v> {
    machine: &'v Machine,
    plant: &'v Plant,
    situation: &'v Situation,
    deviations: &'v [DeviationId],
}

impl<'v> View<'v> {
    /// Looks at a situation under these deviations.
    #[must_use]
    pub fn new(
        machine: &'v Machine,
        plant: &'v Plant,
        situation: &'v Situation,
        deviations: &'v [DeviationId],
    ) -> Self {
        Self { machine, plant, situation, deviations }
    }

    /// The probability of each answer to whoever looks, in the order of
    /// [`machine::model::Check::answers`]: on and off; or the positions and "between".
    #[must_use]
    pub fn answers(&self, observable: &Observable) -> Shares {
        let two = |on: f64| Shares::from_slice(&[on, 1.0 - on]);
        match observable {
            Observable::InputStage(input, stage) => two(self.input(*input, *stage)),
            Observable::OutputStage(output, stage) => two(self.output(*output, *stage)),
            Observable::Supply(supply) => two(self.supply(*supply)),
            Observable::Position(mechanism) => self.position(*mechanism),
            Observable::MovesFreely(mechanism) => two(f64::from(u8::from(!self.blocked(*mechanism)))),
            Observable::Inspect(list) => two(f64::from(u8::from(list.iter().any(|one| self.deviations.contains(one))))),
        }
    }

    /// The share of time that a signal is on.
    fn share_on(&self, signal: Signal) -> f64 {
        match self.situation.varies(signal) {
            Some(varying) => f64::from(varying.on_per_mille) / 1000.0,
            None => f64::from(u8::from(self.situation.on(signal))),
        }
    }

    /// The share of time that a supply is there. A supply that fails while nothing needs it
    /// has not come into play, so the situation alone does not tell.
    fn supply(&self, supply: SupplyId) -> f64 {
        let missing = self.effects().any(|effect| match effect {
            FaultEffect::Supply(which, Forced::Off) => self.machine.is_fed_by(supply, which),
            _ => false,
        });
        if missing { 0.0 } else { self.share_on(self.plant.layout.supply(supply)) }
    }

    /// The share of time that a condition of the world holds. Of things that go round, one is
    /// counted exactly; where a condition speaks of several, it is taken as when the run stopped.
    fn share_of(&self, condition: &Condition<WorldFact>) -> f64 {
        let signal = |fact: &WorldFact| self.plant.layout.world(*fact);
        let varying = condition.facts().into_iter().map(signal).find(|one| self.situation.varies(*one).is_some());
        let holds = |value: Option<bool>| {
            condition.holds(&|fact: &WorldFact| match value {
                Some(value) if Some(signal(fact)) == varying => value,
                _ => self.situation.on(signal(fact)),
            })
        };
        match varying {
            None => f64::from(u8::from(holds(None))),
            Some(one) => {
                let share = self.share_on(one);
                match (holds(Some(true)), holds(Some(false))) {
                    (true, true) => 1.0,
                    (true, false) => share,
                    (false, true) => 1.0 - share,
                    (false, false) => 0.0,
                }
            }
        }
    }

    fn effects(&self) -> impl Iterator<Item = FaultEffect> + '_ {
        self.deviations.iter().flat_map(|id| self.machine.deviations[*id].effects.iter().copied())
    }

    /// The share of time that a stage of an input's chain is on.
    #[must_use]
    pub fn input(&self, input: InputId, upto: InputStage) -> f64 {
        let row = &self.machine.inputs[input];
        let layout = &self.plant.layout;
        let fed = row.supply.map_or(1.0, |supply| self.supply(supply));
        let mut effects: SmallVec<[_; 4]> = self
            .effects()
            .filter_map(|effect| match effect {
                FaultEffect::Input(which, stage, forced) if which == input && stage <= upto => Some((stage, forced)),
                _ => None,
            })
            .collect();
        effects.sort_unstable();
        let mut value = self.share_of(&row.lit);
        let mut sensor_passed = false;
        for (stage, forced) in effects {
            if stage > InputStage::Target && !sensor_passed {
                value *= fed;
                sensor_passed = true;
            }
            value = force(value, forced);
            if stage == InputStage::Sensor {
                value *= fed;
            }
        }
        if !sensor_passed && upto >= InputStage::Sensor {
            value *= fed;
        }
        if upto >= InputStage::Card {
            value *= self.share_on(layout.powered);
        }
        value
    }

    /// The share of time that a stage of an output's chain is on.
    #[must_use]
    pub fn output(&self, output: OutputId, upto: OutputStage) -> f64 {
        let layout = &self.plant.layout;
        let command = self.share_on(layout.command(output));
        let mut effects: SmallVec<[_; 4]> = self
            .effects()
            .filter_map(|effect| match effect {
                FaultEffect::Output(which, stage, forced) if which == output => Some((stage, forced)),
                _ => None,
            })
            .collect();
        effects.sort_unstable();
        if upto == OutputStage::Lamp {
            let own = effects.iter().filter(|(stage, _)| *stage == OutputStage::Lamp);
            return own.fold(command, |value, (_, forced)| force(value, *forced));
        }
        let supply = self.machine.outputs[output].supply;
        let fed = supply.map_or(1.0, |supply| self.supply(supply));
        let mut value = command * fed;
        for (stage, forced) in effects {
            if stage != OutputStage::Lamp && stage <= upto {
                value = force(value, forced);
                if stage < OutputStage::Valve {
                    value *= fed;
                }
            }
        }
        value
    }

    fn position(&self, mechanism: MechanismId) -> Shares {
        let count = self.machine.mechanisms[mechanism].positions.len();
        let layout = &self.plant.layout;
        let mut shares: Shares = (0..count)
            .map(|position| self.share_on(layout.at(mechanism, u8::try_from(position).unwrap_or(u8::MAX))))
            .collect();
        shares.push(self.share_on(layout.between(mechanism)));
        shares
    }

    fn blocked(&self, mechanism: MechanismId) -> bool {
        self.effects().any(|effect| {
            matches!(effect, FaultEffect::Stuck(which) | FaultEffect::StopsShort(which, _) if which == mechanism)
        })
    }
}

fn force(value: f64, forced: Forced) -> f64 {
    match forced {
        Forced::Off => 0.0,
        Forced::On => 1.0,
        Forced::Chatters(made, broken) => value * f64::from(made) / f64::from((made + broken).max(1)),
    }
}
