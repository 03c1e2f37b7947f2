//! What a machine file may not ask of anybody. A file that tells somebody to
//! defeat a guard, or to reach in with the energy on, has an error and is not used.

use super::{Point, Resolver};
use crate::caution::Doing;
use crate::library::{judge_check, judge_remedy, judge_text, judge_words};
use crate::model::{Guarding, Who};
use crate::tree::Table;

impl Resolver<'_> {
    pub fn safety(&mut self) {
        let root = self.root;
        for table in root.tables("checks") {
            judge_check(table, self.guarding_named(table), &mut self.problems);
        }
        for table in root.tables("remedies") {
            judge_remedy(table, self.guarding_named(table), &mut self.problems);
        }
        for entry in root.entries_of("devices") {
            let faults = entry.node.table().map(|device| device.entries_of("faults")).unwrap_or_default();
            for fault in faults {
                let protects = self.guarding_of(&entry.key) != Guarding::None;
                judge_text(fault.node.table().and_then(|fault| fault.text("remedy")), protects, &mut self.problems);
            }
        }
        for entry in root.entries_of("routines") {
            let actions = entry.node.table().and_then(|table| table.get("do")).map(crate::tree::Node::members);
            for action in actions.unwrap_or_default() {
                judge_text(action.table().and_then(|action| action.text("words")), false, &mut self.problems);
            }
        }
        for (index, entry) in root.entries_of("procedures").iter().enumerate() {
            if let Some(table) = entry.node.table() {
                self.procedure_safety(index, table);
            }
        }
        judge_words(root, &mut self.problems);
    }

    fn procedure_safety(&mut self, index: usize, table: &Table) {
        let Some(procedure) = self.machine.procedures.rows().nth(index) else { return };
        let doings: Vec<Doing> = procedure.steps.iter().map(|step| Doing::of_step(&self.machine, step)).collect();
        judge_text(table.text("purpose"), false, &mut self.problems);
        for (step, doing) in table.tables("steps").into_iter().zip(&doings) {
            for text in [step.text("words"), step.text("note")] {
                judge_text(text, false, &mut self.problems);
            }
            let measure = step.table("measure");
            for key in ["words", "outside"] {
                judge_text(measure.and_then(|measure| measure.text(key)), false, &mut self.problems);
            }
            for forbidden in doing.forbidden() {
                let (what, hint) = forbidden.words();
                let place = step.get("access").map_or(step.span, |node| node.span);
                self.problems.error(place, "dangerous", what, hint);
            }
        }
        let least = doings.iter().map(Doing::who).max().unwrap_or(Who::Operator);
        if let (true, Some(node)) = (crate::library::read_who(table) < least, table.get("who")) {
            let what = "a step of this procedure takes a better qualified person";
            let hint = match least {
                Who::Electrician => "write who = \"electrician\"",
                _ => "write who = \"technician\"",
            };
            self.problems.warning(node.span, "not-qualified", what, hint);
        }
    }

    fn guarding_named(&self, table: &Table) -> Guarding {
        table.text("device").map_or(Guarding::None, |text| self.guarding_of(&text.text))
    }

    /// What the device guards that has this name, label or tag.
    fn guarding_of(&self, name: &str) -> Guarding {
        let tag = match self.point(name) {
            Some(Point::Input(input)) => self.machine.inputs[input].tag.as_str(),
            Some(Point::Output(output)) => self.machine.outputs[output].tag.as_str(),
            None => name,
        };
        self.machine.devices.find(|device| device.name == tag).map_or(Guarding::None, |(_, device)| device.guarding)
    }
}
