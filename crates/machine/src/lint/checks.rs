//! Checks of the machine file that can never tell two answers apart.

use super::{Lint, possible};
use crate::library::read_check;
use crate::model::{Check, FaultEffect, Observable};
use crate::tree::Table;

impl Lint<'_> {
    pub(super) fn checks(&mut self) {
        for (index, table) in self.root.tables("checks").into_iter().enumerate() {
            let key = table.string("key").unwrap_or_else(|| format!("own-{}", index + 1));
            let made = self.machine.checks.rows().find(|check| check.key.rsplit('/').next() == Some(key.as_str()));
            match made {
                Some(check) => self.one_check(check, table),
                None => self.not_made(table, &key),
            }
        }
    }

    fn not_made(&mut self, table: &Table, key: &str) {
        let check = read_check(key, table);
        let (what, hint) = match check.observes {
            crate::library::Observes::Inspect(keys) if keys.is_empty() => (
                "this check looks at nothing".to_string(),
                "write observes = \"sensor\" or inspect = [\"…\"] with fault modes of the device",
            ),
            crate::library::Observes::Inspect(keys) => (
                format!("the device has no fault mode {}, so the answer is always no", keys.join(" or ")),
                "name fault modes of this device, or declare them in [devices]",
            ),
            _ => (
                "the device has nothing like that to look at".to_string(),
                "a stage belongs to an input or output, a position to a mechanism",
            ),
        };
        let place = table.get("inspect").or_else(|| table.get("observes")).map_or(table.span, |node| node.span);
        self.problems.error(place, "tells-nothing", what, hint);
    }

    fn one_check(&mut self, check: &Check, table: &Table) {
        let machine = self.machine;
        let same = match check.answers.as_slice() {
            [yes, no] => yes.words.english == no.words.english,
            _ => false,
        };
        let tells = match &check.observes {
            Observable::InputStage(input, _) => {
                let faults = machine.deviations.rows().flat_map(|row| &row.effects);
                let faults =
                    faults.into_iter().any(|effect| matches!(effect, FaultEffect::Input(of, ..) if of == input));
                let lit = possible(&machine.inputs[*input].lit, &|mechanism| self.reachable(mechanism));
                faults || lit.is_none_or(|(can_hold, can_fail)| can_hold && can_fail)
            }
            Observable::MovesFreely(mechanism) => machine
                .deviations
                .rows()
                .flat_map(|row| &row.effects)
                .any(|effect| matches!(effect, FaultEffect::Stuck(of) if of == mechanism)),
            Observable::Position(mechanism) => self.reachable(*mechanism).len() > 1,
            Observable::Inspect(modes) => !modes.is_empty(),
            Observable::OutputStage(..) | Observable::Supply(_) => true,
        };
        if same || !tells {
            let what = if same { "both answers have the same words" } else { "the answer is always the same" };
            let hint = "a check must have two answers that can both come about";
            self.problems.error(table.span, "tells-nothing", what, hint);
        }
    }
}
