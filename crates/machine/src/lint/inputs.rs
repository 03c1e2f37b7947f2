//! Inputs that can never be lit, or never dark.

use super::{Lint, possible};
use crate::id::InputId;
use crate::model::PointUse;

impl Lint<'_> {
    pub(super) fn inputs(&mut self) {
        let ids: Vec<InputId> = self.machine.inputs.ids().collect();
        for input in ids {
            let row = &self.machine.inputs[input];
            if row.usage != PointUse::Used {
                continue;
            }
            let place = self.place_of_input(input);
            match possible(&row.lit, &|mechanism| self.reachable(mechanism)) {
                Some((false, _)) => {
                    let what = format!("nothing ever lights `{}`", row.label);
                    let hint =
                        "no position that can be reached makes this true; look at the names and at what moves them";
                    self.problems.error(place, "never-lit", what, hint);
                }
                Some((true, false)) => {
                    let what = format!("`{}` is always lit", row.label);
                    self.problems.warning(
                        place,
                        "always-lit",
                        what,
                        "such a lamp tells nothing; look at the condition",
                    );
                }
                _ => {}
            }
        }
    }
}
