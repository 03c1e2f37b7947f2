//! Steps that nothing leaves or nothing reaches.

use super::Lint;
use crate::id::{ChartId, StepId};
use crate::model::{Effect, Step};
use crate::source::Span;

impl Lint<'_> {
    pub(super) fn charts(&mut self) {
        let ids: Vec<StepId> = self.machine.steps.ids().collect();
        for step in ids {
            if self.in_use(self.machine.steps[step].chart) {
                self.left(step);
                self.reached(step);
            }
        }
    }

    fn in_use(&self, chart: ChartId) -> bool {
        self.machine.steps.rows().filter(|step| step.chart == chart).count() > 1
    }

    fn place_of_step(&self, step: &Step) -> Span {
        let chart = &self.machine.charts[step.chart].name;
        let table = self.root.table("charts").and_then(|table| table.table(chart));
        let entry = table.and_then(|table| table.table("steps")).and_then(|table| table.entry(&step.name));
        entry.map_or_else(|| self.place("charts", chart), |entry| entry.key_span)
    }

    fn left(&mut self, step: StepId) {
        let machine = self.machine;
        let row = &machine.steps[step];
        let by_transition = machine.transitions.rows().any(|transition| transition.from.contains(&step));
        let by_interlock = machine
            .interlocks
            .rows()
            .any(|interlock| interlock.in_steps.contains(&step) && matches!(interlock.effect, Effect::GoTo(_)));
        let by_time = row.time_out.as_ref().is_some_and(|time_out| matches!(time_out.effect, Effect::GoTo(_)));
        if by_transition || by_interlock || by_time {
            return;
        }
        let what = format!("nothing leaves the step `{}`", row.name);
        let place = self.place_of_step(row);
        if row.alarm {
            let hint = "if only switching off ends it, that is how it is; else write until = \"reset = pressed\"";
            self.problems.warning(place, "never-left", what, hint);
        } else {
            let hint = "end it with `until …` or `for T#…`, or name it in [[transitions]]";
            self.problems.error(place, "never-left", what, hint);
        }
    }

    fn reached(&mut self, step: StepId) {
        let machine = self.machine;
        let row = &machine.steps[step];
        let goes_to = |effect: &Effect| matches!(effect, Effect::GoTo(steps) if steps.contains(&step));
        let reached = machine.charts[row.chart].initial.contains(&step)
            || machine.transitions.rows().any(|transition| transition.to.contains(&step))
            || machine.interlocks.rows().any(|interlock| goes_to(&interlock.effect))
            || machine.steps.rows().any(|other| other.time_out.as_ref().is_some_and(|out| goes_to(&out.effect)));
        if !reached {
            let what = format!("nothing reaches the step `{}`", row.name);
            let hint = if row.alarm {
                "name it: on_timeout = \"go to …\", on_loss = \"go to …\", or next = \"…\""
            } else {
                "let the step before it end, or name it with next = \"…\""
            };
            self.problems.error(self.place_of_step(row), "never-entered", what, hint);
        }
    }
}
