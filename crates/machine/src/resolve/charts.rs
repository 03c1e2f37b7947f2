//! Charts with their names looked up: steps, transitions, interlocks; latches, counters, modes.

use super::conditions::Scope;
use super::raw_chart::{Placed, RawChart, RawStep};
use super::{Point, Resolver, humanised};
use crate::condition::Condition;
use crate::id::{ChartId, InputId, OutputId, StepId};
use crate::library::Filling;
use crate::model::{
    Action, ActionKind, Chart, Counter, Effect, Guarding, Interlock, Latch, MechanismClass, Mode, ProgramFact,
    SettingValue, Step, TimeOut, Timing, Transition, WorldFact,
};
use crate::source::Span;
use crate::text::effect::EffectText;
use crate::text::sentence::{Clause, ClauseTiming, Duration, End, Verb};
use crate::tree::{Table, Text, Value};

type Program = Condition<ProgramFact>;

impl<'r> Resolver<'r> {
    pub fn charts(&mut self, raw: &[RawChart<'r>]) {
        self.name_memory();
        let ids: Vec<(ChartId, Vec<StepId>)> = raw.iter().map(|chart| self.name_steps(chart)).collect();
        self.modes();
        self.memory_conditions();
        for (chart, (id, steps)) in raw.iter().zip(&ids) {
            self.chart(chart, *id, steps);
        }
        self.output_conditions();
    }

    fn name_memory(&mut self) {
        for entry in self.entries("latches") {
            let empty = Table::default();
            let table = entry.node.table().unwrap_or(&empty);
            let words = self.own_words(&format!("latches.{}", entry.key), table, &humanised(&entry.key));
            self.machine.latches.push(Latch {
                name: entry.key.clone(),
                words,
                set: Condition::Always(false),
                reset: Condition::Always(false),
                at_power_on: table.flag("at_power_on").unwrap_or(false),
            });
        }
        for entry in self.entries("counters") {
            let empty = Table::default();
            let table = entry.node.table().unwrap_or(&empty);
            let words = self.own_words(&format!("counters.{}", entry.key), table, &humanised(&entry.key));
            self.machine.counters.push(Counter { name: entry.key.clone(), words });
        }
    }

    fn name_steps(&mut self, raw: &RawChart<'r>) -> (ChartId, Vec<StepId>) {
        let words = self.own_words(&format!("charts.{}", raw.name), raw.table, &humanised(&raw.name));
        let chart = self.machine.charts.push(Chart { name: raw.name.clone(), words, mode: None, initial: Vec::new() });
        let empty = Table::default();
        let steps = raw.steps.iter().map(|step| {
            let default = if step.implied { "ready to start".to_string() } else { humanised(&step.name) };
            let key = format!("charts.{}.steps.{}", raw.name, step.name);
            let mut words = self.own_words(&key, step.table.unwrap_or(&empty), &default);
            if step.implied && words.english == default && words.translations.is_empty() {
                words.translations =
                    self.translations.words("implied.ready", &default, &Filling::default()).translations;
            }
            self.machine.steps.push(Step {
                name: step.name.clone(),
                words,
                chart,
                actions: Vec::new(),
                time_out: None,
                alarm: step.alarm,
            })
        });
        let steps = steps.collect();
        (chart, steps)
    }

    fn modes(&mut self) {
        for entry in self.entries("modes") {
            let empty = Table::default();
            let table = entry.node.table().unwrap_or(&empty);
            let text = entry.node.text().or_else(|| table.text("when"));
            let when = text.and_then(|text| {
                self.parse_condition(text).map(|expression| self.program(&expression, text, Scope::default()))
            });
            let words = self.own_words(&format!("modes.{}", entry.key), table, &humanised(&entry.key));
            self.machine.modes.push(Mode { name: entry.key.clone(), words, when: when.unwrap_or_default() });
        }
    }

    fn memory_conditions(&mut self) {
        for entry in self.entries("latches") {
            let Some(table) = entry.node.table() else { continue };
            let set = self.program_key(table, "set", Scope::default());
            let reset = self.program_key(table, "reset", Scope::default());
            if let Some((latch, _)) = self.machine.latches.find(|latch| latch.name == entry.key) {
                self.machine.latches[latch].set = set.unwrap_or(Condition::Always(false));
                self.machine.latches[latch].reset = reset.unwrap_or(Condition::Always(false));
            }
        }
    }

    fn output_conditions(&mut self) {
        for index in 0..self.output_tables.len() {
            let Some(table) = self.output_tables[index] else { continue };
            if let Some(on) = self.program_key(table, "on", Scope::default())
                && let Some(output) = self.machine.outputs.ids().nth(index)
            {
                self.machine.outputs[output].driven = on;
            }
        }
    }

    /// The program condition of a key; several texts must all hold.
    pub fn program_key(&mut self, table: &Table, key: &str, scope: Scope) -> Option<Program> {
        let texts = table.texts(key);
        if texts.is_empty() {
            return None;
        }
        let mut all = Condition::Always(true);
        for text in texts {
            if let Some(expression) = self.parse_condition(text) {
                all = all.and(self.program(&expression, text, scope));
            }
        }
        Some(all)
    }

    fn chart(&mut self, raw: &RawChart<'r>, chart: ChartId, steps: &[StepId]) {
        let mode = raw.table.text("mode").and_then(|text| self.mode_or_note(text));
        self.machine.charts[chart].mode = mode;
        let initial = |step: &RawStep<'_>| step.table.is_some_and(|table| table.flag("initial") == Some(true));
        let mut first: Vec<StepId> =
            raw.steps.iter().zip(steps).filter(|(step, _)| initial(step)).map(|(_, id)| *id).collect();
        if first.is_empty() {
            first.extend(steps.first());
        }
        self.machine.charts[chart].initial.clone_from(&first);
        if first.is_empty() {
            let what = format!("chart `{}` has no steps", raw.name);
            let hint = format!("write [charts.{}.steps] and a line for each step", raw.name);
            self.problems.error(raw.span, "no-steps", what, hint);
            return;
        }
        for (step, id) in raw.steps.iter().zip(steps) {
            self.step_actions(step, *id, chart);
        }
        let needs = self.start(raw, chart, steps, &first);
        for (index, step) in raw.steps.iter().enumerate() {
            self.leave(raw, step, index, chart, steps);
        }
        self.explicit_transitions(raw, chart);
        self.interlocks(raw, chart, steps, &first, &needs);
        for (step, id) in raw.steps.iter().zip(steps) {
            self.time_out(step, *id, chart);
        }
    }

    fn mode_or_note(&mut self, text: &Text) -> Option<crate::id::ModeId> {
        let found = self.machine.modes.find(|mode| mode.name == text.text).map(|(id, _)| id);
        if found.is_none() {
            let hint = self.hint(&text.text, self.machine.modes.rows().map(|row| row.name.as_str()));
            self.problems.error(text.span, "unknown-name", format!("there is no mode `{}`", text.text), hint);
        }
        found
    }

    /// The start transition; gives the permissives for the interlocks they imply.
    fn start(
        &mut self,
        raw: &RawChart<'r>,
        chart: ChartId,
        steps: &[StepId],
        first: &[StepId],
    ) -> Vec<(Program, Span)> {
        let scope = Scope { chart: Some(chart), step: first.first().copied() };
        let mut needs = Vec::new();
        for need in &raw.needs {
            let condition = self.program(&need.it, need.text, scope);
            needs.extend(condition.conjuncts().into_iter().map(|part| (part.clone(), need.text.span)));
        }
        let Some(start) = &raw.start else {
            if !raw.needs.is_empty() {
                let span = raw.needs.first().map_or(raw.span, |need| need.text.span);
                self.problems.error(span, "needs-without-start", "`needs` belongs to a `start`", "write start = \"…\"");
            }
            return needs;
        };
        let mut when = self.program(&start.it, start.text, scope);
        for (need, _) in &needs {
            when = when.and(need.clone());
        }
        if let Some(mode) = self.machine.charts[chart].mode {
            when = when.and(self.machine.modes[mode].when.clone());
        }
        let Some(next) = self.in_line_after(raw, 0, steps) else {
            let hint = "write a step for what it does once it is started";
            self.problems.error(raw.span, "no-steps", format!("chart `{}` starts nothing", raw.name), hint);
            return needs;
        };
        self.machine.transitions.push(Transition { chart, from: first.to_vec(), to: vec![next], when, start: true });
        needs
    }

    /// The next step in file order; steps that stand for an alarm are out of line.
    fn in_line_after(&self, raw: &RawChart<'r>, index: usize, steps: &[StepId]) -> Option<StepId> {
        let later = raw.steps.iter().zip(steps).skip(index + 1);
        later.filter(|(step, _)| !step.alarm).map(|(_, id)| *id).next()
    }

    /// Where a step goes when it ends and nothing is said.
    fn default_next(&self, raw: &RawChart<'r>, index: usize, steps: &[StepId]) -> Option<StepId> {
        let repeat = raw.table.flag("repeat").unwrap_or(false);
        let first = if repeat { self.in_line_after(raw, 0, steps) } else { steps.first().copied() };
        if raw.steps.get(index).is_some_and(|step| step.alarm) {
            return steps.first().copied();
        }
        self.in_line_after(raw, index, steps).or(first)
    }

    fn leave(&mut self, raw: &RawChart<'r>, step: &RawStep<'r>, index: usize, chart: ChartId, steps: &[StepId]) {
        let id = steps[index];
        let scope = Scope { chart: Some(chart), step: Some(id) };
        let until = match &step.end {
            Some(Placed { it: End::Until(expression), text }) => Some(self.program(expression, text, scope)),
            Some(Placed { it: End::Time(duration), text }) => {
                let ms = self.duration(duration, text);
                Some(Condition::Fact(ProgramFact::StepFor(id, ms.unwrap_or(0))))
            }
            None => None,
        };
        if let Some(when) = until {
            let to = self.next_of(step, scope).or_else(|| self.default_next(raw, index, steps).map(|next| vec![next]));
            if let Some(to) = to {
                self.machine.transitions.push(Transition { chart, from: vec![id], to, when, start: false });
            }
        }
        let Some(table) = step.table else { return };
        for way in table.tables("or") {
            let when = self.program_key(way, "when", scope).unwrap_or_default();
            let to = self.steps_named(way, "next", scope);
            if !to.is_empty() {
                self.machine.transitions.push(Transition { chart, from: vec![id], to, when, start: false });
            }
        }
    }

    fn next_of(&mut self, step: &RawStep<'r>, scope: Scope) -> Option<Vec<StepId>> {
        let table = step.table?;
        table.get("next")?;
        let named = self.steps_named(table, "next", scope);
        (!named.is_empty()).then_some(named)
    }

    fn steps_named(&mut self, table: &Table, key: &str, scope: Scope) -> Vec<StepId> {
        let texts = table.texts(key).into_iter();
        texts.filter_map(|text| self.step_or_note(&text.text, text.span, scope)).collect()
    }

    fn explicit_transitions(&mut self, raw: &RawChart<'r>, chart: ChartId) {
        let scope = Scope { chart: Some(chart), step: None };
        for table in raw.table.tables("transitions") {
            let from = self.steps_named(table, "from", scope);
            let to = self.steps_named(table, "to", scope);
            let scope = Scope { chart: Some(chart), step: from.first().copied() };
            let when = self.program_key(table, "when", scope).unwrap_or_default();
            if !from.is_empty() && !to.is_empty() {
                self.machine.transitions.push(Transition { chart, from, to, when, start: false });
            }
        }
    }

    fn time_out(&mut self, step: &RawStep<'r>, id: StepId, chart: ChartId) {
        let Some(table) = step.table else { return };
        let Some(node) = table.get("timeout") else { return };
        let after_ms = match &node.value {
            Value::Text(text) => match self.setting(&text.text).map(|(_, setting)| setting.value) {
                Some(SettingValue::Time(ms)) => Some(ms),
                _ => self.time_of(node),
            },
            _ => None,
        };
        let scope = Scope { chart: Some(chart), step: Some(id) };
        let effect = match table.get("on_timeout").and_then(|node| self.parse_effect(node)) {
            Some(effect) => {
                let first = self.machine.charts[chart].initial.clone();
                let question = format!("step {} lasts longer than its time-out", self.machine.steps[id].name);
                self.effect(&effect, scope, &first, &question)
            }
            None => Effect::Nothing,
        };
        if let Some(after_ms) = after_ms {
            self.machine.steps[id].time_out = Some(TimeOut { after_ms, effect });
        }
    }

    fn effect(&mut self, effect: &Placed<'r, EffectText>, scope: Scope, first: &[StepId], question: &str) -> Effect {
        match &effect.it {
            EffectText::Nothing => Effect::Nothing,
            EffectText::Hold { outputs_kept } => Effect::Hold { outputs_kept: *outputs_kept },
            EffectText::GoTo(words) => {
                let mut steps = Vec::new();
                for word in words {
                    steps.extend(self.step_or_note(&word.text, effect.text.part(word.range.clone()), scope));
                }
                if steps.is_empty() { Effect::Nothing } else { Effect::GoTo(steps) }
            }
            EffectText::NotKnown => self.unknown_effect(effect.text.span, first, question),
        }
    }

    /// What happens when the file doesn't know: one of three, carried as alternatives.
    fn unknown_effect(&mut self, span: Span, first: &[StepId], question: &str) -> Effect {
        let to = first.first().map_or(String::new(), |step| self.machine.step_name(*step));
        let options = vec![
            (0.5, format!("when {question}: nothing happens")),
            (0.25, format!("when {question}: it holds, outputs off")),
            (0.25, format!("when {question}: it goes to {to}")),
        ];
        match self.choose(span, options) {
            0 => Effect::Nothing,
            1 => Effect::Hold { outputs_kept: false },
            _ => Effect::GoTo(first.to_vec()),
        }
    }

    fn interlocks(
        &mut self,
        raw: &RawChart<'r>,
        chart: ChartId,
        steps: &[StepId],
        first: &[StepId],
        needs: &[(Program, Span)],
    ) {
        let running: Vec<StepId> = steps.iter().copied().filter(|step| !first.contains(step)).collect();
        let scope = Scope { chart: Some(chart), step: None };
        for table in raw.table.tables("interlocks") {
            self.written_interlock(table, chart, &running, first);
        }
        if let Some(stop) = self.program_key(raw.table, "stop", scope) {
            self.machine.interlocks.push(Interlock {
                chart,
                words: self.words_or(
                    "stop",
                    "stop was pressed",
                    self.translations.words("implied.stop", "stop was pressed", &Filling::default()),
                ),
                needs: stop.negated(),
                in_steps: running.clone(),
                effect: Effect::GoTo(first.to_vec()),
            });
        }
        self.lost_permissives(raw, chart, &running, first, needs);
    }

    /// Whether an interlock of this chart already says what the loss of this condition does.
    fn has_interlock(&self, chart: ChartId, need: &Program) -> bool {
        let own = self.machine.interlocks.rows().filter(|interlock| interlock.chart == chart);
        own.flat_map(|interlock| interlock.needs.conjuncts()).any(|part| part == need)
    }

    fn written_interlock(&mut self, table: &'r Table, chart: ChartId, running: &[StepId], first: &[StepId]) {
        let scope = Scope { chart: Some(chart), step: None };
        let Some(needs) = self.program_key(table, "needs", scope) else { return };
        let in_steps = if table.get("in").is_some() { self.steps_named(table, "in", scope) } else { running.to_vec() };
        let written = table.texts("needs").iter().map(|text| text.text.clone()).collect::<Vec<_>>().join(" and ");
        let words = match table.string("words") {
            Some(english) => self.translations.words("", &english, &Filling::default()),
            None => {
                let english = format!("{} must hold", humanised(&written));
                self.words_or("", &english, self.must_hold(self.permissive_words(&needs)))
            }
        };
        let effect = match table.get("on_loss").and_then(|node| self.parse_effect(node)) {
            Some(effect) => self.effect(&effect, scope, first, &format!("{} is lost", words.english)),
            None => {
                let span = table.text("needs").map_or(table.span, |text| text.span);
                self.unknown_effect(span, first, &format!("{} is lost", words.english))
            }
        };
        self.machine.interlocks.push(Interlock { chart, words, needs, in_steps, effect });
    }

    /// What losing a permissive does to a running chart.
    fn lost_permissives(
        &mut self,
        raw: &RawChart<'r>,
        chart: ChartId,
        running: &[StepId],
        first: &[StepId],
        needs: &[(Program, Span)],
    ) {
        let written = raw.table.get("on_loss").and_then(|node| self.parse_effect(node));
        let known = written.as_ref().is_some_and(|effect| effect.it != EffectText::NotKnown);
        let watched: Vec<Program> = needs
            .iter()
            .map(|(need, _)| need.clone())
            .filter(|need| if known { self.is_outside(need) } else { self.is_guard_or_supply(need) })
            .filter(|need| !self.has_interlock(chart, need))
            .collect();
        let (Some(_), Some((_, span))) = (watched.first(), needs.first()) else { return };
        let lost: Vec<String> =
            watched.iter().map(|need| format!("\"{}\"", self.permissive_words(need).english)).collect();
        let question = format!("{} no longer holds while {} runs", lost.join(" or "), raw.name);
        let scope = Scope { chart: Some(chart), step: None };
        let effect = match written {
            Some(effect) => self.effect(&effect, scope, first, &question),
            None => self.unknown_effect(*span, first, &question),
        };
        if effect == Effect::Nothing {
            return;
        }
        for need in watched {
            let words = self.must_hold(self.permissive_words(&need));
            self.machine.interlocks.push(Interlock {
                chart,
                words,
                needs: need,
                in_steps: running.to_vec(),
                effect: effect.clone(),
            });
        }
    }

    fn inputs_of(need: &Program) -> Vec<InputId> {
        let inputs = need.facts().into_iter().filter_map(|fact| match fact {
            ProgramFact::Input(input) => Some(*input),
            _ => None,
        });
        inputs.collect()
    }

    fn is_guard_or_supply(&self, need: &Program) -> bool {
        Self::inputs_of(need).into_iter().any(|input| {
            let kind = &self.input_kinds[crate::id::Id::index(input)];
            let guards = self.kind(kind).is_some_and(|kind| kind.guarding == Guarding::Guard);
            let facts = self.machine.inputs[input].lit.facts();
            guards || facts.into_iter().any(|fact| matches!(fact, WorldFact::Supply(_)))
        })
    }

    /// Whether it is about something that hands or supplies can take away, not about the machine's own motion.
    fn is_outside(&self, need: &Program) -> bool {
        self.is_guard_or_supply(need)
            || Self::inputs_of(need).into_iter().any(|input| {
                self.machine.inputs[input].lit.facts().into_iter().any(|fact| match fact {
                    WorldFact::At(mechanism, _) => self.machine.mechanisms[*mechanism].class == MechanismClass::Hand,
                    _ => false,
                })
            })
    }

    fn step_actions(&mut self, raw: &RawStep<'r>, step: StepId, chart: ChartId) {
        let scope = Scope { chart: Some(chart), step: Some(step) };
        let mut actions = Vec::new();
        for clause in &raw.clauses {
            let timing = self.timing(&clause.it, clause.text);
            let when = match &clause.it.condition {
                Some(expression) => self.program(expression, clause.text, scope),
                None => Condition::Always(true),
            };
            for kind in self.action_kinds(&clause.it, clause.text) {
                actions.push(Action { kind, when: when.clone(), timing });
            }
        }
        self.machine.steps[step].actions = actions;
    }

    fn timing(&mut self, clause: &Clause, text: &Text) -> Timing {
        let ms = |this: &mut Self, duration: &Duration| this.duration(duration, text).unwrap_or(0);
        match &clause.timing {
            None => Timing::WhileActive,
            Some(ClauseTiming::After(duration)) => Timing::After(ms(self, duration)),
            Some(ClauseTiming::For(duration)) => Timing::For(ms(self, duration)),
            Some(ClauseTiming::Blinking(duration)) => {
                let half = ms(self, duration).max(1);
                Timing::Blink(half, half)
            }
        }
    }

    /// A time, or the value of a setting, in ms.
    pub fn duration(&mut self, duration: &Duration, text: &Text) -> Option<u64> {
        let word = match duration {
            Duration::Ms(ms) => return Some(*ms),
            Duration::Setting(word) => word,
        };
        let span = text.part(word.range.clone());
        match self.setting(&word.text).map(|(_, setting)| setting.value) {
            Some(SettingValue::Time(ms)) => Some(ms),
            Some(SettingValue::Count(_)) => {
                let what = format!("`{}` is a count, not a time", word.text);
                self.problems.error(span, "count-here", what, crate::text::time::HINT);
                None
            }
            None => {
                let names = self.machine.settings.rows().map(|row| row.name.as_str());
                let hint = self.hint(&word.text, names);
                let hint = if self.machine.settings.is_empty() { crate::text::time::HINT.to_string() } else { hint };
                let what = format!("`{}` is neither a time nor a setting", word.text);
                self.problems.error(span, "unknown-name", what, hint);
                None
            }
        }
    }

    fn action_kinds(&mut self, clause: &Clause, text: &Text) -> Vec<ActionKind> {
        let span = text.part(clause.object.range.clone());
        let name = clause.object.text.as_str();
        let latch = self.machine.latches.find(|latch| latch.name == name).map(|(id, _)| id);
        match clause.verb {
            Verb::Count | Verb::Clear => {
                let Some((counter, _)) = self.machine.counters.find(|counter| counter.name == name) else {
                    let names = self.machine.counters.rows().map(|row| row.name.as_str());
                    let hint = self.hint(name, names);
                    let hint = if self.machine.counters.is_empty() {
                        format!("declare it: [counters] {name} = {{}}")
                    } else {
                        hint
                    };
                    self.problems.error(span, "unknown-name", format!("there is no counter `{name}`"), hint);
                    return Vec::new();
                };
                vec![if clause.verb == Verb::Count { ActionKind::Count(counter) } else { ActionKind::Clear(counter) }]
            }
            Verb::Set | Verb::Reset if latch.is_some() => {
                latch
                    .into_iter()
                    .map(|latch| {
                        if clause.verb == Verb::Set {
                            ActionKind::SetLatch(latch)
                        } else {
                            ActionKind::ResetLatch(latch)
                        }
                    })
                    .collect()
            }
            Verb::Set | Verb::Reset | Verb::Run if clause.position.is_none() && self.point(name).is_some() => {
                match self.point(name) {
                    Some(Point::Output(output)) => vec![output_action(clause.verb, output)],
                    _ => {
                        let what = format!("`{name}` is an input; a step can only drive outputs");
                        self.problems.error(span, "input-here", what, "name an output, or write until …");
                        Vec::new()
                    }
                }
            }
            Verb::Do | Verb::Run | Verb::Set | Verb::Reset => self.mechanism_actions(clause, text),
        }
    }

    fn mechanism_actions(&mut self, clause: &Clause, text: &Text) -> Vec<ActionKind> {
        let span = text.part(clause.object.range.clone());
        let name = clause.object.text.as_str();
        let Some(mechanism) = self.mechanism(name) else {
            let machine = &self.machine;
            let names = machine.mechanisms.rows().map(|row| row.name.as_str());
            let names = names.chain(self.points.keys().map(String::as_str));
            let hint = self.hint(name, names);
            self.problems.error(span, "unknown-name", format!("there is no mechanism or output `{name}`"), hint);
            return Vec::new();
        };
        let position = match (&clause.position, clause.verb) {
            (Some(word), _) => self.position_or_note(mechanism, &word.text, text.part(word.range.clone())),
            (None, Verb::Run) => Some(1),
            (None, _) => {
                let positions = self.machine.mechanisms[mechanism].positions.join(" or ");
                let what = format!("which position of `{name}`?");
                self.problems.error(span, "position-missing", what, format!("write {name} {positions}"));
                None
            }
        };
        let Some(position) = position else { return Vec::new() };
        let towards = self.outputs_moving(mechanism, position);
        match clause.verb {
            Verb::Run => {
                if towards.is_empty() {
                    let place = &self.machine.mechanisms[mechanism].positions[usize::from(position)];
                    let what = format!("no output moves `{name}` to `{place}`");
                    let hint = format!("give an output moves = \"{name} {place}\", or run the output by its label");
                    self.problems.error(span, "nothing-drives", what, hint);
                }
                towards.into_iter().map(ActionKind::Drive).collect()
            }
            Verb::Set => towards.into_iter().map(ActionKind::Set).collect(),
            Verb::Reset => towards.into_iter().map(ActionKind::Reset).collect(),
            _ => {
                let away: Vec<OutputId> = self.outputs_moving_elsewhere(mechanism, position);
                if towards.is_empty() && away.is_empty() {
                    let what = format!("no output moves `{name}`, so a step can't");
                    let hint = "its moves are written by hand; drive its outputs by their labels: set Y5";
                    self.problems.error(span, "nothing-drives", what, hint);
                }
                away.into_iter().map(ActionKind::Reset).chain(towards.into_iter().map(ActionKind::Set)).collect()
            }
        }
    }

    fn outputs_moving_elsewhere(&self, mechanism: crate::id::MechanismId, position: u8) -> Vec<OutputId> {
        let count = self.machine.mechanisms[mechanism].positions.len();
        let others = (0..count).filter_map(|at| u8::try_from(at).ok()).filter(|at| *at != position);
        others.flat_map(|at| self.outputs_moving(mechanism, at)).collect()
    }
}

fn output_action(verb: Verb, output: OutputId) -> ActionKind {
    match verb {
        Verb::Set => ActionKind::Set(output),
        Verb::Reset => ActionKind::Reset(output),
        _ => ActionKind::Drive(output),
    }
}
