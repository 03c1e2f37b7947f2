//! Permissives that the routine can never meet.

use super::Lint;
use crate::condition::Condition;
use crate::id::{ChartId, InputId, MechanismId};
use crate::model::{HandMove, MechanismClass, ProgramFact, Routine, WorldFact};
use crate::source::Span;

impl Lint<'_> {
    pub(super) fn permissives(&mut self) {
        let machine = self.machine;
        for transition in machine.transitions.rows().filter(|transition| transition.start) {
            let mode = machine.charts[transition.chart].mode;
            let fits = |routine: &&Routine| routine.mode.is_none() || mode.is_none() || routine.mode == mode;
            let routines: Vec<&Routine> = machine.routines.rows().filter(fits).collect();
            if routines.is_empty() {
                self.note_no_routine(transition.chart);
                continue;
            }
            for part in transition.when.conjuncts() {
                self.permissive(part, transition.chart, &routines);
            }
        }
    }

    fn note_no_routine(&mut self, chart: ChartId) {
        let row = &self.machine.charts[chart];
        let what = format!("no routine starts the chart `{}`", row.name);
        let hint = "write a routine for its mode: what people do, in order";
        self.problems.warning(self.place("charts", &row.name), "no-routine", what, hint);
    }

    fn permissive(&mut self, part: &Condition<ProgramFact>, chart: ChartId, routines: &[&Routine]) {
        let (input, lit) = match part {
            Condition::Fact(ProgramFact::Input(input)) => (*input, true),
            Condition::Not(inner) => match inner.as_ref() {
                Condition::Fact(ProgramFact::Input(input)) => (*input, false),
                _ => return,
            },
            _ => return,
        };
        let row = &self.machine.inputs[input];
        let stands: Vec<MechanismId> = row
            .lit
            .facts()
            .into_iter()
            .filter_map(|fact| match fact {
                WorldFact::At(mechanism, _) | WorldFact::Between(mechanism) => Some(*mechanism),
                _ => None,
            })
            .collect();
        // Only what hands decide; drives and supplies are the machine's affair.
        if stands.iter().any(|mechanism| self.machine.mechanisms[*mechanism].class == MechanismClass::Driven) {
            return;
        }
        let within_hands = |mechanism: MechanismId| self.put_by(mechanism, routines);
        let Some((can_hold, can_fail)) = super::possible(&row.lit, &within_hands) else { return };
        if (lit && !can_hold) || (!lit && !can_fail) {
            let state = if lit { "lit" } else { "dark" };
            let what = format!("start needs `{}` {state}, and no routine does that", row.label);
            let hint = format!("let the routine bring it about: {}", self.how(input));
            self.problems.error(self.place_of_need(chart, input), "never-met", what, hint);
        }
    }

    /// The positions that a mechanism has at rest or in a routine.
    fn put_by(&self, mechanism: MechanismId, routines: &[&Routine]) -> Vec<u8> {
        let row = &self.machine.mechanisms[mechanism];
        let mut places = vec![row.rest];
        for movement in routines.iter().flat_map(|routine| &routine.actions).map(|action| action.movement) {
            match movement {
                HandMove::Put(of, at) if of == mechanism => places.push(at),
                HandMove::Press(of, _) | HandMove::Hold(of) if of == mechanism => {
                    places.extend((0..row.positions.len()).filter_map(|at| u8::try_from(at).ok()));
                }
                _ => {}
            }
        }
        places.sort_unstable();
        places.dedup();
        places
    }

    fn how(&self, input: InputId) -> String {
        let row = &self.machine.inputs[input];
        let about = row.lit.facts().into_iter().find_map(|fact| match fact {
            WorldFact::At(mechanism, at) => Some((*mechanism, *at)),
            _ => None,
        });
        match about {
            Some((mechanism, at)) => {
                let row = &self.machine.mechanisms[mechanism];
                if row.class == MechanismClass::Button {
                    format!("\"press {}\"", row.name)
                } else {
                    format!("\"{} {}\"", row.name, row.positions[usize::from(at)])
                }
            }
            None => "name the action".to_string(),
        }
    }

    /// Where the chart asks for it: the text of `needs` that names the input's mechanism, else `start`.
    fn place_of_need(&self, chart: ChartId, input: InputId) -> Span {
        let name = &self.machine.charts[chart].name;
        let Some(table) = self.root.table("charts").and_then(|table| table.table(name)) else { return Span::default() };
        let row = &self.machine.inputs[input];
        let mut names = vec![row.label.clone(), row.tag.clone()];
        for fact in row.lit.facts() {
            if let WorldFact::At(mechanism, _) = fact {
                names.push(self.machine.mechanisms[*mechanism].name.clone());
            }
        }
        let texts = table.texts("needs").into_iter().chain(table.texts("start"));
        let found = texts.into_iter().find(|text| {
            text.text
                .split(|c: char| !(c.is_alphanumeric() || c == '_' || c == '.'))
                .any(|word| names.iter().any(|name| name == word))
        });
        found.map_or_else(|| self.place("charts", name), |text| text.span)
    }
}
