//! Mechanisms without a way back, positions that are never reached or never looked at.

use super::Lint;
use crate::id::MechanismId;
use crate::model::{HandMove, MechanismClass, WorldFact};

impl Lint<'_> {
    pub(super) fn mechanisms(&mut self) {
        let ids: Vec<MechanismId> = self.machine.mechanisms.ids().collect();
        for mechanism in ids {
            if self.machine.mechanisms[mechanism].class == MechanismClass::Driven {
                self.unreached_positions(mechanism);
                self.way_back(mechanism);
            } else {
                self.unused_positions(mechanism);
                self.seen_by_nothing(mechanism);
            }
        }
    }

    fn unreached_positions(&mut self, mechanism: MechanismId) {
        let row = &self.machine.mechanisms[mechanism];
        let reachable = self.reachable(mechanism);
        let place = self.place_of_mechanism(mechanism);
        if row.moves.is_empty() {
            let what = format!("nothing moves `{}`", row.name);
            let hint = format!(
                "give an output moves = \"{} {}\", or write by = \"hand\"",
                row.name,
                row.positions.last().map_or("", String::as_str)
            );
            self.problems.error(place, "never-moves", what, hint);
            return;
        }
        for (at, position) in row.positions.iter().enumerate() {
            let implied = position.starts_with("not_");
            if !implied && !reachable.iter().any(|reached| usize::from(*reached) == at) {
                let what = format!("`{}` never gets to `{position}`", row.name);
                let hint = format!("let an output or a move lead to {position}, or take the position out");
                self.problems.error(place, "never-reached", what, hint);
            }
        }
    }

    fn way_back(&mut self, mechanism: MechanismId) {
        let row = &self.machine.mechanisms[mechanism];
        let reachable = self.reachable(mechanism);
        for at in &reachable {
            let leaves =
                row.moves.iter().any(|step| step.to != *at && (step.from.is_empty() || step.from.contains(at)));
            if !leaves && (reachable.len() > 1) {
                let position = &row.positions[usize::from(*at)];
                let what = format!("`{}` has no way back from `{position}`", row.name);
                let hint = match row.positions.iter().find(|other| *other != position) {
                    Some(other) => {
                        format!(
                            "let an output move it to {other}, or a type that returns, or write moves.{other} = {{ when = \"…\" }}"
                        )
                    }
                    None => String::new(),
                };
                self.problems.error(self.place_of_mechanism(mechanism), "no-way-back", what, hint);
            }
        }
    }

    /// A position of a hand mechanism that nothing senses, no routine uses and nobody finds it in.
    fn unused_positions(&mut self, mechanism: MechanismId) {
        let row = &self.machine.mechanisms[mechanism];
        // Two positions: the one is what the other is not.
        if row.positions.len() < 3 {
            return;
        }
        for (at, position) in row.positions.iter().enumerate() {
            let Ok(at) = u8::try_from(at) else { continue };
            let fact = WorldFact::At(mechanism, at);
            let sensed =
                self.machine.inputs.rows().any(|input| input.lit.facts().into_iter().any(|seen| *seen == fact));
            let put = self.machine.routines.rows().flat_map(|routine| &routine.actions);
            let put = put.map(|action| action.movement).any(|movement| movement == HandMove::Put(mechanism, at));
            let effect = crate::model::FaultEffect::Found(mechanism, at);
            let found = self.machine.deviations.rows().any(|deviation| deviation.effects.contains(&effect));
            if !(sensed || put || found || at == row.rest) {
                let what =
                    format!("`{}` is never at `{position}`: no input shows it and no hand puts it there", row.name);
                let hint = "take the position out, or let an input or a routine name it";
                self.problems.warning(self.place_of_mechanism(mechanism), "never-used", what, hint);
            }
        }
    }

    /// Something moved by hand that no input, supply or other mechanism depends on.
    fn seen_by_nothing(&mut self, mechanism: MechanismId) {
        let machine = self.machine;
        let lit = machine.inputs.rows().map(|input| &input.lit);
        let when = machine.supplies.rows().map(|supply| &supply.when);
        let moves = machine.mechanisms.rows().flat_map(|row| &row.moves).map(|step| &step.when);
        let named = lit
            .chain(when)
            .chain(moves)
            .flat_map(|condition| condition.facts())
            .any(|fact| matches!(fact, WorldFact::At(of, _) | WorldFact::Between(of) if *of == mechanism));
        if !named {
            let what = format!("nothing depends on `{}`", machine.mechanisms[mechanism].name);
            let hint = "is the name right? no input shows it, and no supply or move needs it";
            self.problems.warning(self.place_of_mechanism(mechanism), "seen-by-nothing", what, hint);
        }
    }
}
