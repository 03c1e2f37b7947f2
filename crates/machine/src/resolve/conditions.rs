//! Conditions with their names looked up: over the world, and over what the program knows.

use super::{Point, Resolver};
use crate::condition::Condition;
use crate::id::{ChartId, InputId, MechanismId, StepId};
use crate::model::{PointUse, ProgramFact, SettingValue, WorldFact};
use crate::source::Span;
use crate::text::Word;
use crate::text::expression::{Comparison, Expression, Operand};
use crate::tree::Text;

/// Where a program condition stands, so that bare times and step names mean something.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scope {
    pub chart: Option<ChartId>,
    pub step: Option<StepId>,
}

type World = Condition<WorldFact>;
type Program = Condition<ProgramFact>;

/// A condition that takes the place of one that could not be understood.
fn lost<F>() -> Condition<F> {
    Condition::Always(false)
}

fn exclusive<F: Clone>(left: Condition<F>, right: Condition<F>) -> Condition<F> {
    let only_left = left.clone().and(right.clone().negated());
    let only_right = left.negated().and(right);
    Condition::Any(vec![only_left, only_right])
}

impl Resolver<'_> {
    /// A condition over the world.
    pub fn world(&mut self, expression: &Expression, text: &Text) -> World {
        match expression {
            Expression::Always(value) => Condition::Always(*value),
            Expression::Not(inner) => self.world(inner, text).negated(),
            Expression::And(list) => Condition::All(list.iter().map(|part| self.world(part, text)).collect()),
            Expression::Or(list) => Condition::Any(list.iter().map(|part| self.world(part, text)).collect()),
            Expression::Xor(left, right) => exclusive(self.world(left, text), self.world(right, text)),
            Expression::Time(_, range) => {
                let span = text.part(range.clone());
                let hint = "times belong to charts; for delays of an input use on_delay and off_delay";
                self.problems.error(span, "no-time-here", "what is really so has no step time", hint);
                lost()
            }
            Expression::Edge { inner, .. } => {
                let hint = "R_TRIG and F_TRIG belong to charts and latches";
                self.problems.error(text.span, "no-edge-here", "what is really so has no edges", hint);
                let _ = self.world(inner, text);
                lost()
            }
            Expression::Name(word) => self.world_name(word, text),
            Expression::Compare(left, comparison, right) => self.world_compare(left, *comparison, right, text),
        }
    }

    fn world_name(&mut self, word: &Word, text: &Text) -> World {
        if let Some(supply) = self.supply(&word.text) {
            return Condition::Fact(WorldFact::Supply(supply));
        }
        let span = text.part(word.range.clone());
        match self.point(&word.text) {
            Some(Point::Output(output)) => return Condition::Fact(WorldFact::Driven(output)),
            Some(Point::Input(_)) => {
                let hint = "say what is really so, such as door = shut";
                let what = format!("`{}` is an input; here only what is really so counts", word.text);
                self.problems.error(span, "input-here", what, hint);
                return lost();
            }
            None => {}
        }
        if let Some(mechanism) = self.mechanism(&word.text) {
            let positions = self.machine.mechanisms[mechanism].positions.join(" or ");
            let hint = format!("write {} = {positions}", word.text);
            self.problems.error(span, "position-missing", format!("which position of `{}`?", word.text), hint);
            return lost();
        }
        let supplies = self.machine.supplies.rows().map(|row| row.name.as_str());
        let hint = self.hint(&word.text, supplies.chain(self.points.keys().map(String::as_str)));
        let what = format!("there is no supply or output `{}`", word.text);
        self.problems.error(span, "unknown-name", what, hint);
        lost()
    }

    fn world_compare(&mut self, left: &Word, comparison: Comparison, right: &Operand, text: &Text) -> World {
        let span = text.part(left.range.clone());
        let Some(mechanism) = self.mechanism_or_note(&left.text, span) else { return lost() };
        let word = right.word();
        let place = text.part(word.range.clone());
        if !matches!(comparison, Comparison::Equal | Comparison::Unequal) {
            let hint = "write = or <>";
            self.problems.error(place, "no-order", "positions have no order", hint);
            return lost();
        }
        let fact = if word.text == "between" {
            WorldFact::Between(mechanism)
        } else {
            match self.position_or_note(mechanism, &word.text, place) {
                Some(position) => WorldFact::At(mechanism, position),
                None => return lost(),
            }
        };
        let condition = Condition::Fact(fact);
        if comparison == Comparison::Unequal { condition.negated() } else { condition }
    }

    /// A condition over what the program knows.
    pub fn program(&mut self, expression: &Expression, text: &Text, scope: Scope) -> Program {
        match expression {
            Expression::Always(value) => Condition::Always(*value),
            Expression::Not(inner) => self.program(inner, text, scope).negated(),
            Expression::And(list) => {
                let parts = list.iter().map(|part| self.program(part, text, scope));
                parts.fold(Condition::Always(true), Condition::and)
            }
            Expression::Or(list) => Condition::Any(list.iter().map(|part| self.program(part, text, scope)).collect()),
            Expression::Xor(left, right) => {
                exclusive(self.program(left, text, scope), self.program(right, text, scope))
            }
            Expression::Time(ms, range) => self.step_lasted(*ms, text.part(range.clone()), scope),
            Expression::Edge { rising, inner } => {
                let inner = self.program(inner, text, scope);
                let edge = match self.machine.edges.find(|edge| *edge == inner) {
                    Some((edge, _)) => edge,
                    None => self.machine.edges.push(inner),
                };
                Condition::Fact(if *rising { ProgramFact::Rises(edge) } else { ProgramFact::Falls(edge) })
            }
            Expression::Name(word) => self.program_name(word, text, scope),
            Expression::Compare(left, comparison, right) => self.program_compare(left, *comparison, right, text, scope),
        }
    }

    fn step_lasted(&mut self, ms: u64, span: Span, scope: Scope) -> Program {
        match scope.step {
            Some(step) => Condition::Fact(ProgramFact::StepFor(step, ms)),
            None => {
                let hint = "write STEP.T >= T#2s with the step's name";
                self.problems.error(span, "no-step-here", "a bare time belongs to a step, and here is none", hint);
                lost()
            }
        }
    }

    fn program_name(&mut self, word: &Word, text: &Text, scope: Scope) -> Program {
        let span = text.part(word.range.clone());
        let name = word.text.as_str();
        match self.point(name) {
            Some(Point::Input(input)) => {
                self.note_unused_input(input, span);
                return Condition::Fact(ProgramFact::Input(input));
            }
            Some(Point::Output(output)) => return Condition::Fact(ProgramFact::Output(output)),
            None => {}
        }
        if let Some((latch, _)) = self.machine.latches.find(|latch| latch.name == name) {
            return Condition::Fact(ProgramFact::Latch(latch));
        }
        if let Some((_, mode)) = self.machine.modes.find(|mode| mode.name == name) {
            return mode.when.clone();
        }
        if let Some((_, setting)) = self.setting(name) {
            return match setting.value {
                SettingValue::Time(ms) => self.step_lasted(ms, span, scope),
                SettingValue::Count(_) => {
                    let hint = format!("write COUNTER >= {name}");
                    self.problems.error(span, "count-here", format!("`{name}` is a count, not a time"), hint);
                    lost()
                }
            };
        }
        if let Some(step) = name.strip_suffix(".X").or_else(|| name.strip_suffix(".x")) {
            return match self.step_or_note(step, span, scope) {
                Some(step) => Condition::Fact(ProgramFact::Step(step)),
                None => lost(),
            };
        }
        if let Some(mechanism) = self.mechanism(name) {
            let positions = self.machine.mechanisms[mechanism].positions.join(" or ");
            let hint = format!("write {name} = {positions}");
            self.problems.error(span, "position-missing", format!("which position of `{name}`?"), hint);
            return lost();
        }
        if let Some(supply) = self.supply(name) {
            return self.sensed_fact(WorldFact::Supply(supply), None, span, name);
        }
        let hint = self.program_hint(name);
        self.problems.error(span, "unknown-name", format!("there is nothing called `{name}`"), hint);
        lost()
    }

    fn program_hint(&self, name: &str) -> String {
        let machine = &self.machine;
        let names = self.points.keys().map(String::as_str);
        let names = names.chain(machine.latches.rows().map(|row| row.name.as_str()));
        let names = names.chain(machine.modes.rows().map(|row| row.name.as_str()));
        let names = names.chain(machine.settings.rows().map(|row| row.name.as_str()));
        let names = names.chain(machine.mechanisms.rows().map(|row| row.name.as_str()));
        self.hint(name, names)
    }

    fn note_unused_input(&mut self, input: InputId, span: Span) {
        let row = &self.machine.inputs[input];
        if row.usage != PointUse::Used {
            let what = format!("`{}` is not in use", row.label);
            self.problems.error(span, "not-in-use", what, "name an input that is wired");
        }
    }

    fn program_compare(
        &mut self,
        left: &Word,
        comparison: Comparison,
        right: &Operand,
        text: &Text,
        scope: Scope,
    ) -> Program {
        let span = text.part(left.range.clone());
        if let Some((counter, _)) = self.machine.counters.find(|counter| counter.name == left.text) {
            return self.counted(counter, comparison, right, text);
        }
        if let Some(step) = left.text.strip_suffix(".T").or_else(|| left.text.strip_suffix(".t")) {
            return self.timed(step, span, comparison, right, text, scope);
        }
        if self.mechanism(&left.text).is_none()
            && let Some(point) = self.point(&left.text)
        {
            let hint = format!("write {} or NOT {}", left.text, left.text);
            let what = format!("`{}` is a point: it is lit or it is not", left.text);
            self.problems.error(span, "compared-point", what, hint);
            let _ = point;
            return lost();
        }
        let Some(mechanism) = self.mechanism_or_note(&left.text, span) else { return lost() };
        let word = right.word();
        let place = text.part(word.range.clone());
        if !matches!(comparison, Comparison::Equal | Comparison::Unequal) {
            self.problems.error(place, "no-order", "positions have no order", "write = or <>");
            return lost();
        }
        let Some(position) = self.position_or_note(mechanism, &word.text, place) else { return lost() };
        let shown = format!("{} = {}", left.text, word.text);
        let whole = Span { end: place.end, ..span };
        let found = self.sensed_fact(WorldFact::At(mechanism, position), Some(mechanism), whole, &shown);
        if comparison == Comparison::Unequal { found.negated() } else { found }
    }

    /// The inputs whose `lit` is exactly this fact, as a condition.
    fn sensed_fact(&mut self, fact: WorldFact, mechanism: Option<MechanismId>, span: Span, shown: &str) -> Program {
        let exact = self.inputs_showing(fact);
        if !exact.is_empty() {
            return all_of(exact);
        }
        if let WorldFact::At(mechanism, position) = fact
            && self.machine.mechanisms[mechanism].positions.len() == 2
        {
            let other = self.inputs_showing(WorldFact::At(mechanism, 1 - position.min(1)));
            if !other.is_empty() {
                return all_of(other.into_iter().map(Condition::negated).collect());
            }
        }
        let hint = self.what_shows(mechanism);
        self.problems.error(span, "not-sensed", format!("no input shows {shown}"), hint);
        lost()
    }

    fn inputs_showing(&self, fact: WorldFact) -> Vec<Program> {
        let straight = Condition::Fact(fact);
        let opposite = straight.clone().negated();
        let used = self.machine.inputs.iter().filter(|(_, input)| input.usage == PointUse::Used);
        let showing = used.filter_map(|(id, input)| {
            let lit = Condition::Fact(ProgramFact::Input(id));
            if input.lit == straight {
                Some(lit)
            } else if input.lit == opposite {
                Some(lit.negated())
            } else {
                None
            }
        });
        showing.collect()
    }

    fn what_shows(&self, mechanism: Option<MechanismId>) -> String {
        let about = |input: &crate::model::Input| {
            input.lit.facts().iter().any(|fact| match fact {
                WorldFact::At(of, _) | WorldFact::Between(of) => Some(*of) == mechanism,
                _ => false,
            })
        };
        let labels: Vec<&str> =
            self.machine.inputs.rows().filter(|input| about(input)).map(|input| input.tag.as_str()).collect();
        match (labels.is_empty(), mechanism) {
            (false, _) => {
                format!("inputs about it: {}; name one of them, or give an input this `lit`", labels.join(", "))
            }
            (true, Some(mechanism)) => format!(
                "no input is about {}; add one, or wait for a time instead",
                self.machine.mechanisms[mechanism].name
            ),
            (true, None) => "add an input with this `lit`".to_string(),
        }
    }

    fn counted(
        &mut self,
        counter: crate::id::CounterId,
        comparison: Comparison,
        right: &Operand,
        text: &Text,
    ) -> Program {
        let place = text.part(right.word().range.clone());
        let number = match right {
            Operand::Whole(number, _) => Some(*number),
            Operand::Name(word) => match self.setting(&word.text).map(|(_, setting)| setting.value) {
                Some(SettingValue::Count(count)) => Some(count),
                _ => None,
            },
            Operand::Time(..) => None,
        };
        let Some(number) = number else {
            self.problems.error(
                place,
                "count-missing",
                "expected a number or a setting that is a count",
                "write jars >= 12",
            );
            return lost();
        };
        let reached = |number: u32| Condition::Fact(ProgramFact::Counted(counter, number));
        let above = |number: u32| number.checked_add(1).map_or(Condition::Always(false), reached);
        match comparison {
            Comparison::AtLeast => reached(number),
            Comparison::Above => above(number),
            Comparison::Below => reached(number).negated(),
            Comparison::AtMost => above(number).negated(),
            Comparison::Equal => reached(number).and(above(number).negated()),
            Comparison::Unequal => reached(number).and(above(number).negated()).negated(),
        }
    }

    fn timed(
        &mut self,
        step: &str,
        span: Span,
        comparison: Comparison,
        right: &Operand,
        text: &Text,
        scope: Scope,
    ) -> Program {
        let place = text.part(right.word().range.clone());
        let ms = match right {
            Operand::Time(ms, _) => Some(*ms),
            Operand::Name(word) => match self.setting(&word.text).map(|(_, setting)| setting.value) {
                Some(SettingValue::Time(ms)) => Some(ms),
                _ => None,
            },
            Operand::Whole(..) => None,
        };
        let Some(ms) = ms else {
            self.problems.error(
                place,
                "time-missing",
                "expected a time or a setting that is a time",
                "write lower.T >= T#2s",
            );
            return lost();
        };
        let Some(step) = self.step_or_note(step, span, scope) else { return lost() };
        let lasted = Condition::Fact(ProgramFact::StepFor(step, ms));
        match comparison {
            Comparison::AtLeast | Comparison::Above => lasted,
            Comparison::Below | Comparison::AtMost => lasted.negated(),
            Comparison::Equal | Comparison::Unequal => {
                self.problems.error(place, "no-order", "a step time is compared by >= or <", "write lower.T >= T#2s");
                lost()
            }
        }
    }

    /// A step by name: of the chart at hand, else `chart.step`, else of the only chart that has it.
    pub fn step_or_note(&mut self, name: &str, span: Span, scope: Scope) -> Option<StepId> {
        let found = self.step_named(name, scope);
        if found.is_none() {
            let hint = self.hint(name, self.machine.steps.rows().map(|step| step.name.as_str()));
            self.problems.error(span, "unknown-step", format!("there is no step `{name}`"), hint);
        }
        found
    }

    fn step_named(&self, name: &str, scope: Scope) -> Option<StepId> {
        let here = |chart: ChartId, name: &str| {
            self.machine.steps.find(|step| step.chart == chart && step.name == name).map(|(id, _)| id)
        };
        if let Some(step) = scope.chart.and_then(|chart| here(chart, name)) {
            return Some(step);
        }
        if let Some((chart, step)) = name.split_once('.')
            && let Some((chart, _)) = self.machine.charts.find(|row| row.name == chart)
        {
            return here(chart, step);
        }
        let mut all = self.machine.steps.iter().filter(|(_, step)| step.name == name);
        let first = all.next();
        if all.next().is_some() { None } else { first.map(|(id, _)| id) }
    }
}

fn all_of(list: Vec<Program>) -> Program {
    list.into_iter().fold(Condition::Always(true), Condition::and)
}
