//! How mechanisms move: by the outputs that drive them, by their own `moves`, and back by themselves.

use super::{OutputWiring, Resolver, mechanisms::other_position};
use crate::condition::Condition;
use crate::id::{Id, MechanismId, OutputId};
use crate::model::{Move, WorldFact};
use crate::tree::{Entry, Table};

impl<'r> Resolver<'r> {
    pub fn moves(&mut self) {
        let ids: Vec<MechanismId> = self.machine.mechanisms.ids().collect();
        for mechanism in ids {
            let name = self.machine.mechanisms[mechanism].name.clone();
            let table = self.root.table("mechanisms").and_then(|table| table.table(&name));
            let moves = match table.filter(|table| table.get("moves").is_some()) {
                Some(table) => self.written_moves(mechanism, table),
                None => self.implied_moves(mechanism),
            };
            self.machine.mechanisms[mechanism].moves = moves;
        }
    }

    fn implied_moves(&self, mechanism: MechanismId) -> Vec<Move> {
        let mut drivers: Vec<(OutputId, &OutputWiring, u8)> = Vec::new();
        for output in self.drivers_of(mechanism) {
            let wiring = &self.wiring[output.index()];
            let targets = wiring.moves.iter().filter(|(driven, _)| *driven == mechanism);
            drivers.extend(targets.map(|(_, position)| (*output, wiring, *position)));
        }
        let driven = |output: OutputId| Condition::Fact(WorldFact::Driven(output));
        let mut moves = Vec::new();
        for (output, wiring, position) in &drivers {
            let against = drivers.iter().filter(|(_, _, other)| other != position).map(|(other, ..)| *other);
            let when = against.fold(driven(*output), |when, other| when.and(driven(other).negated()));
            moves.push(travel(*position, with_needs(when, wiring), wiring.takes_ms, wiring.tolerance));
        }
        let Some((_, wiring, _)) = drivers.iter().find(|(_, wiring, _)| self.back_of(wiring, mechanism).is_some())
        else {
            return moves;
        };
        if let Some(back) = self.back_of(wiring, mechanism) {
            let when =
                drivers.iter().fold(Condition::Always(true), |when, (output, ..)| when.and(driven(*output).negated()));
            moves.push(travel(back, with_needs(when, wiring), wiring.back_takes_ms, wiring.tolerance));
        }
        moves
    }

    /// Where the mechanism goes when this output is off, if it does not just stay.
    pub fn back_of(&self, wiring: &OutputWiring, mechanism: MechanismId) -> Option<u8> {
        if let Some((_, back)) = wiring.back.iter().find(|(of, _)| *of == mechanism) {
            return Some(*back);
        }
        if !wiring.returns {
            return None;
        }
        let (_, target) = wiring.moves.iter().find(|(of, _)| *of == mechanism)?;
        let row = &self.machine.mechanisms[mechanism];
        let back = if row.rest == *target { other_position(*target, row.positions.len()) } else { row.rest };
        // Another output leads there: then this one's going off only ends the drive.
        (self.outputs_moving(mechanism, back).is_empty()).then_some(back)
    }

    fn written_moves(&mut self, mechanism: MechanismId, table: &'r Table) -> Vec<Move> {
        let mut moves = Vec::new();
        if let Some(by_target) = table.table("moves") {
            for Entry { key, key_span, node } in &by_target.entries {
                let Some(inner) = node.table() else { continue };
                if let Some(to) = self.position_or_note(mechanism, key, *key_span) {
                    moves.push(self.written_move(mechanism, to, inner));
                }
            }
            return moves;
        }
        for inner in table.tables("moves") {
            let Some(text) = inner.text("to") else { continue };
            if let Some(to) = self.position_or_note(mechanism, &text.text, text.span) {
                moves.push(self.written_move(mechanism, to, inner));
            }
        }
        moves
    }

    fn written_move(&mut self, mechanism: MechanismId, to: u8, table: &'r Table) -> Move {
        let from = table.texts("from").into_iter();
        let from = from.filter_map(|text| self.position_or_note(mechanism, &text.text, text.span)).collect();
        let when = match table.text("when") {
            Some(text) => self.parse_condition(text).map(|expression| self.world(&expression, text)),
            None => None,
        };
        let takes_ms = table.get("takes").and_then(|node| self.time_of(node)).unwrap_or(1_000);
        let tolerance_percent = self.tolerance_of(table);
        Move { from, to, when: when.unwrap_or_default(), takes_ms, tolerance_percent }
    }
}

fn with_needs(when: Condition<WorldFact>, wiring: &OutputWiring) -> Condition<WorldFact> {
    match wiring.needs {
        Some(supply) => when.and(Condition::Fact(WorldFact::Supply(supply))),
        None => when,
    }
}

fn travel(to: u8, when: Condition<WorldFact>, takes_ms: u64, tolerance_percent: u32) -> Move {
    Move { from: Vec::new(), to, when, takes_ms, tolerance_percent }
}
