//! Routines and procedures: what people do.

use super::raw_chart::RawChart;
use super::{Point, Resolver, humanised};
use crate::caution::Doing;
use crate::id::{MechanismId, RemedyId, RoutineId};
use crate::library::{Filling, read_access, read_energy, read_guarding, read_load, read_who};
use crate::model::{
    Access, Chance, Deviation, DeviationKind, DeviceRole, Energy, Event, ExpectedLamp, FaultEffect, Guarding,
    HandAction, HandMove, Load, Measurement, MechanismClass, Procedure, ProcedureStep, ProgramFact, Rate, Remedy,
    Routine, Source, Who, Words, WorldFact,
};
use crate::source::Span;
use crate::text::hand::{HandText, parse_hand};
use crate::text::sentence::words;
use crate::tree::{Node, Table, Text};

/// Minutes of making a lapse good. Common practice, no source.
const MAKING_GOOD: f64 = 1.0;

/// How long a button is pressed when nothing is said, ms.
const PRESS_MS: u64 = 500;
/// How often a hand move is forgotten, and how often that is noticed at once, when the file says
/// nothing. Common practice, no source.
const FORGOTTEN: f64 = 1.0 / 300.0;
const NOTICED: f64 = 0.5;

/// How often an action is forgotten and nobody notices.
#[derive(Clone, Debug)]
struct Forgotten {
    chance: f64,
    source: Source,
    /// What the file says of recent events.
    after: Vec<(Event, f64)>,
}

impl<'r> Resolver<'r> {
    pub fn routines(&mut self, charts: &[RawChart<'r>]) {
        for entry in self.entries("routines") {
            let Some(table) = entry.node.table() else { continue };
            let mode = table.text("mode").and_then(|text| {
                let found = self.machine.modes.find(|mode| mode.name == text.text).map(|(id, _)| id);
                if found.is_none() {
                    let names = self.machine.modes.rows().map(|row| row.name.as_str());
                    let hint = self.hint(&text.text, names);
                    self.problems.error(text.span, "unknown-name", format!("there is no mode `{}`", text.text), hint);
                }
                found
            });
            let members = table.get("do").map(Node::members).unwrap_or_default();
            let mut actions = Vec::new();
            for node in members {
                actions.extend(self.hand_action(node));
            }
            let words = self.own_words(&format!("routines.{}", entry.key), table, &humanised(&entry.key));
            let chances: Vec<Option<Forgotten>> = actions.iter().map(|(_, chance)| chance.clone()).collect();
            let actions = actions.into_iter().map(|(action, _)| action).collect();
            let routine = self.machine.routines.push(Routine { name: entry.key.clone(), words, mode, actions });
            self.note_forgotten(routine, chances);
        }
        if self.entries("routines").is_empty() {
            self.implied_routine(charts);
        }
    }

    fn hand_action(&mut self, node: &'r Node) -> Option<(HandAction, Option<Forgotten>)> {
        let empty = Table::default();
        let table = node.table().unwrap_or(&empty);
        let text = node.text().or_else(|| table.text("do"))?;
        let movement = self.hand_move(text)?;
        let wait = table.get("wait").and_then(|node| self.time_of(node));
        let wait_ms = match (&movement, wait) {
            (_, Some(ms)) => Some(ms),
            (HandMove::Wait, None) => self.wait_of(text),
            (_, None) => None,
        };
        let forgotten = table.get("forgotten").and_then(|node| self.chance_of(node));
        let noticed = table.get("noticed").and_then(|node| self.chance_of(node));
        let source = if forgotten.is_some() { Source::File } else { Source::Practice };
        let chance = forgotten.unwrap_or(FORGOTTEN) * (1.0 - noticed.unwrap_or(NOTICED));
        let after = self.own_after(table);
        let forgotten = match movement {
            HandMove::Wait => None,
            _ => Some(Forgotten { chance, source, after }),
        };
        let short = text.text.trim().to_string();
        let key = format!("hand.{short}");
        let words = match table.string("words") {
            Some(english) => self.translations.words(&key, &english, &Filling::default()),
            None => self.implied_hand_words(&key, movement, &short),
        };
        Some((HandAction { words, short, movement, wait_ms }, forgotten))
    }

    /// What a hand does where the file has no words for it; `key` is that of its translations.
    fn implied_hand_words(&self, key: &str, movement: HandMove, short: &str) -> Words {
        let general = self.hand_words(movement, short);
        self.words_or(key, &general.english.clone(), general)
    }

    fn wait_of(&mut self, text: &Text) -> Option<u64> {
        match parse_hand(&text.text) {
            Ok(HandText::Wait(Some(duration))) => self.duration(&duration, text),
            _ => None,
        }
    }

    /// What a hand sentence does to the machine; mistakes are noted.
    pub fn hand_move(&mut self, text: &Text) -> Option<HandMove> {
        let parsed = match parse_hand(&text.text) {
            Ok(parsed) => parsed,
            Err(mistake) => {
                self.mistake(text, mistake);
                return None;
            }
        };
        match parsed {
            HandText::PowerCycle => Some(HandMove::PowerCycle),
            HandText::Wait(_) => Some(HandMove::Wait),
            HandText::Press(word, duration) => {
                let button = self.mechanism_or_note(&word.text, text.part(word.range))?;
                let ms = match duration {
                    Some(duration) => self.duration(&duration, text)?,
                    None => PRESS_MS,
                };
                Some(HandMove::Press(button, ms))
            }
            HandText::Hold(word) => Some(HandMove::Hold(self.mechanism_or_note(&word.text, text.part(word.range))?)),
            HandText::LetGo(word) => Some(HandMove::LetGo(self.mechanism_or_note(&word.text, text.part(word.range))?)),
            HandText::Put(name, position) => {
                let switched = matches!(position.text.as_str(), "on" | "off");
                if let (true, Some(supply)) = (switched, self.supply(&name.text)) {
                    return Some(HandMove::Supply(supply, position.text == "on"));
                }
                let mechanism = self.mechanism_or_note(&name.text, text.part(name.range))?;
                let at = self.position_or_note(mechanism, &position.text, text.part(position.range))?;
                Some(HandMove::Put(mechanism, at))
            }
        }
    }

    /// Lapses: actions of a routine that are left out.
    fn note_forgotten(&mut self, routine: RoutineId, chances: Vec<Option<Forgotten>>) {
        for (index, chance) in chances.into_iter().enumerate() {
            let Some(forgotten) = chance.filter(|forgotten| forgotten.chance > 0.0) else { continue };
            let action = &self.machine.routines[routine].actions[index];
            let filling = Filling::default().with_words("words", action.words.clone());
            let mut key = format!("lapse/{}", action.short);
            if self.machine.routines.len() > 1 || self.key_taken(&key) {
                key = format!("lapse/{}/{}", self.machine.routines[routine].name, action.short);
            }
            if self.key_taken(&key) {
                key = format!("{key}/{}", index + 1);
            }
            let words = self.lapse_words(&key, ("implied.forgotten", "forgotten: {words}"), &filling);
            let index = u32::try_from(index).unwrap_or(u32::MAX);
            let rate = (forgotten.chance, forgotten.source);
            let made_good = self.translations.words("implied.do-it", "do what was left out: {words}", &filling);
            let made_good = (made_good, action.movement);
            let effect = FaultEffect::Forgotten(routine, index);
            self.lapses_push(key, words, rate, effect, &forgotten.after, made_good);
        }
    }

    /// What a lapse is called: by the file's own translations of the whole, else by the library's for all lapses of
    /// this kind, filled.
    fn lapse_words(&self, key: &str, (kind, english): (&str, &str), filling: &Filling) -> Words {
        let general = self.translations.words(kind, english, filling);
        self.words_or(key, &general.english.clone(), general)
    }

    fn key_taken(&self, key: &str) -> bool {
        self.lapses.iter().any(|deviation| deviation.key == key)
    }

    fn lapses_push(
        &mut self,
        key: String,
        words: Words,
        chance: (f64, Source),
        effect: FaultEffect,
        after: &[(Event, f64)],
        (made_good, does): (Words, HandMove),
    ) {
        let remedy = self.machine.remedies.push(Remedy {
            key: format!("{key}/make-good"),
            device: None,
            words: made_good,
            minutes: MAKING_GOOD,
            part: None,
            who: Who::Operator,
            energy: Energy::Normal,
            access: Access::Outside,
            load: Load::None,
            does: Some(does),
            source: Source::Practice,
        });
        self.lapse_made_good_by(remedy, key, words, chance, effect, after);
    }

    fn lapse_made_good_by(
        &mut self,
        remedy: RemedyId,
        key: String,
        words: Words,
        (chance, source): (f64, Source),
        effect: FaultEffect,
        after: &[(Event, f64)],
    ) {
        let after = self.after_events(&[effect], true, after);
        self.lapses.push(Deviation {
            key,
            words,
            kind: DeviationKind::Lapse,
            rate: Rate { chance: Chance::EachTime(chance), source },
            effects: vec![effect],
            after,
            remedy: Some(remedy),
        });
    }

    /// Lapses of the site: mechanisms found elsewhere, supplies shut by hand.
    pub fn site_lapses(&mut self) {
        for entry in self.entries("mechanisms") {
            let Some(table) = entry.node.table() else { continue };
            let after = self.own_after(table);
            let Some(found) = table.table("found") else { continue };
            let Some(mechanism) = self.mechanism(&entry.key) else { continue };
            for case in &found.entries {
                let Some(at) = self.position_or_note(mechanism, &case.key, case.key_span) else { continue };
                let Some(chance) = self.chance_of(&case.node) else { continue };
                let row = &self.machine.mechanisms[mechanism];
                let key = format!("lapse/{} found {}", entry.key, case.key);
                let position = |at: u8| row.position_words.get(usize::from(at)).cloned().unwrap_or_default();
                let filling = Filling::default().with_words("words", row.words.clone());
                let found = filling.clone().with_words("position", position(at));
                let words = self.lapse_words(&key, ("implied.left-at", "{words} was left at \"{position}\""), &found);
                let rest = filling.with_words("position", position(row.rest));
                let put_back = "put it back: {words} to \"{position}\"";
                let made_good = self.translations.words("implied.put-back", put_back, &rest);
                let does = HandMove::Put(mechanism, row.rest);
                let effect = FaultEffect::Found(mechanism, at);
                if let Some(remedy) = self.put_back(mechanism) {
                    self.machine.remedies[remedy].does = Some(does);
                    self.lapse_made_good_by(remedy, key, words, (chance, Source::File), effect, &after);
                    continue;
                }
                self.lapses_push(key, words, (chance, Source::File), effect, &after, (made_good, does));
            }
        }
        self.done_unasked();
        for entry in self.entries("supplies") {
            let Some(table) = entry.node.table() else { continue };
            let after = self.own_after(table);
            let Some(node) = table.get("shut_by_hand") else { continue };
            let Some(supply) = self.supply(&entry.key) else { continue };
            let Some(chance) = self.chance_of(node) else { continue };
            let key = format!("lapse/{} shut", entry.key);
            let filling = Filling::default().with_words("words", self.machine.supplies[supply].words.clone());
            let words = self.lapse_words(&key, ("implied.shut-off", "{words} is shut off by hand"), &filling);
            let made_good = self.translations.words("implied.open-again", "open it again: {words}", &filling);
            let does = HandMove::Supply(supply, true);
            let effect = FaultEffect::Supply(supply, crate::model::Forced::Off);
            self.lapses_push(key, words, (chance, Source::File), effect, &after, (made_good, does));
        }
    }

    /// The remedy by which the type of this mechanism wants it to be put back, where it may not be done just like that.
    fn put_back(&self, mechanism: MechanismId) -> Option<RemedyId> {
        let device = self.machine.devices.rows().find(|row| row.role == DeviceRole::Mechanism(mechanism))?;
        let key = format!("{}/{}", device.name, self.kind(&device.type_key)?.put_back.as_ref()?);
        self.machine.remedies.find(|remedy| remedy.key == key).map(|(id, _)| id)
    }

    /// What somebody does while the machine works, and does not say: presses a button, opens a door and shuts it again,
    /// pushes something, switches off and on.
    fn done_unasked(&mut self) {
        for entry in self.entries("mechanisms") {
            let Some(unasked) = entry.node.table().and_then(|table| table.table("unasked")) else { continue };
            let Some(mechanism) = self.mechanism(&entry.key) else { continue };
            for case in &unasked.entries {
                let Some(at) = self.position_or_note(mechanism, &case.key, case.key_span) else { continue };
                let Some(chance) = self.chance_of(&case.node) else { continue };
                let row = &self.machine.mechanisms[mechanism];
                let position = row.position_words.get(usize::from(at)).cloned().unwrap_or_default();
                let filling =
                    Filling::default().with_words("words", row.words.clone()).with_words("position", position);
                let (movement, said) = match row.class {
                    MechanismClass::Button => {
                        (HandMove::Press(mechanism, PRESS_MS), ("implied.pressed", "{words} was pressed meanwhile"))
                    }
                    MechanismClass::Hand => {
                        let words = "{words} was put to \"{position}\" meanwhile and back";
                        (HandMove::Put(mechanism, at), ("implied.there-and-back", words))
                    }
                    MechanismClass::Driven => {
                        let words = "{words} was pushed to \"{position}\" by hand";
                        (HandMove::Put(mechanism, at), ("implied.pushed", words))
                    }
                };
                let key = format!("lapse/{} {} meanwhile", entry.key, case.key);
                self.unasked_push(key, said, &filling, movement, chance);
            }
        }
        let Some(node) = self.root.table("machine").and_then(|machine| machine.get("switched_off")) else { return };
        let Some(chance) = self.chance_of(node) else { return };
        let said = ("implied.switched-off", "the machine was switched off and on meanwhile");
        self.unasked_push("lapse/switched off".into(), said, &Filling::default(), HandMove::PowerCycle, chance);
    }

    fn unasked_push(&mut self, key: String, said: (&str, &str), filling: &Filling, movement: HandMove, chance: f64) {
        let words = self.lapse_words(&key, said, filling);
        let anew = "bring the machine to rest and begin anew";
        let made_good = self.translations.words("implied.begin-anew", anew, &Filling::default());
        let effect = FaultEffect::Unasked(movement);
        self.lapses_push(key, words, (chance, Source::File), effect, &[], (made_good, HandMove::Wait));
    }

    /// What people do when the file doesn't say: put every hand mechanism where start needs it, then press start.
    fn implied_routine(&mut self, charts: &[RawChart<'r>]) {
        let Some(start) = self.machine.transitions.rows().find(|transition| transition.start) else { return };
        let mut puts: Vec<HandMove> = Vec::new();
        let mut presses: Vec<HandMove> = Vec::new();
        let inputs: Vec<(crate::id::InputId, bool)> = start
            .when
            .conjuncts()
            .into_iter()
            .filter_map(|part| match part {
                crate::Condition::Fact(ProgramFact::Input(input)) => Some((*input, true)),
                crate::Condition::Fact(ProgramFact::Rises(edge)) => match &self.machine.edges[*edge] {
                    crate::Condition::Fact(ProgramFact::Input(input)) => Some((*input, true)),
                    _ => None,
                },
                crate::Condition::Not(inner) => match inner.as_ref() {
                    crate::Condition::Fact(ProgramFact::Input(input)) => Some((*input, false)),
                    _ => None,
                },
                _ => None,
            })
            .collect();
        for (input, wanted) in inputs {
            let Some((mechanism, position)) = self.wanted_position(&self.machine.inputs[input].lit, wanted) else {
                continue;
            };
            let row = &self.machine.mechanisms[mechanism];
            match row.class {
                MechanismClass::Button if position != row.rest => presses.push(HandMove::Press(mechanism, PRESS_MS)),
                MechanismClass::Hand if position != row.rest => puts.push(HandMove::Put(mechanism, position)),
                _ => {}
            }
        }
        let mut actions = Vec::new();
        for movement in puts.into_iter().chain(presses) {
            let short = self.short_form(movement);
            let words = self.implied_hand_words(&format!("hand.{short}"), movement, &short);
            actions.push(HandAction { words, short, movement, wait_ms: None });
        }
        let name = charts.first().map_or("routine".to_string(), |chart| chart.name.clone());
        let count = actions.len();
        let words = self.translations.words(&format!("routines.{name}"), &humanised(&name), &Filling::default());
        let routine = self.machine.routines.push(Routine { name, words, mode: None, actions });
        let usual = Forgotten { chance: FORGOTTEN * (1.0 - NOTICED), source: Source::Practice, after: Vec::new() };
        self.note_forgotten(routine, vec![Some(usual); count]);
    }

    fn wanted_position(&self, lit: &crate::Condition<WorldFact>, wanted: bool) -> Option<(MechanismId, u8)> {
        let (fact, wanted) = match lit {
            crate::Condition::Fact(fact) => (fact, wanted),
            crate::Condition::Not(inner) => match inner.as_ref() {
                crate::Condition::Fact(fact) => (fact, !wanted),
                _ => return None,
            },
            _ => return None,
        };
        let WorldFact::At(mechanism, position) = fact else { return None };
        let count = self.machine.mechanisms[*mechanism].positions.len();
        let at = if wanted { *position } else { super::mechanisms::other_position(*position, count) };
        Some((*mechanism, at))
    }

    fn short_form(&self, movement: HandMove) -> String {
        match movement {
            HandMove::Put(mechanism, at) => {
                let row = &self.machine.mechanisms[mechanism];
                format!("{} {}", row.name, row.positions[usize::from(at)])
            }
            HandMove::Press(mechanism, _) => format!("press {}", self.machine.mechanisms[mechanism].name),
            _ => String::new(),
        }
    }

    pub fn procedures(&mut self) {
        for entry in self.entries("procedures") {
            let Some(table) = entry.node.table() else { continue };
            let mut steps = Vec::new();
            for step in table.tables("steps") {
                steps.push(self.procedure_step(step));
            }
            let key = format!("procedures.{}", entry.key);
            let words = self.own_words(&key, table, &humanised(&entry.key));
            let purpose = table.string("purpose").unwrap_or_default();
            let purpose = self.translations.words(&format!("{key}.purpose"), &purpose, &Filling::default());
            // What a step needs, whoever it is given to in the file.
            let needed = steps.iter().map(|step| Doing::of_step(&self.machine, step).who());
            let who = needed.fold(read_who(table), Ord::max);
            self.machine.procedures.push(Procedure { name: entry.key.clone(), words, purpose, who, steps });
        }
    }

    fn procedure_step(&mut self, table: &'r Table) -> ProcedureStep {
        let movement = table.text("do").and_then(|text| self.hand_move(text)).unwrap_or(HandMove::Wait);
        let short = table.string("do").unwrap_or_default();
        let filling = Filling::default();
        let words = match table.string("words") {
            Some(english) => self.translations.words("", &english, &filling),
            None => self.implied_hand_words("", movement, &short),
        };
        let note = table.string("note").map(|note| self.translations.words("", &note, &filling));
        let measure = table.table("measure").map(|measure| Measurement {
            words: self.translations.words("", &measure.string("words").unwrap_or_default(), &filling),
            unit: self.translations.words("", &measure.string("unit").unwrap_or_default(), &filling),
            from: measure.number("from").unwrap_or(f64::NEG_INFINITY),
            to: measure.number("to").unwrap_or(f64::INFINITY),
            outside: self.translations.words("", &measure.string("outside").unwrap_or_default(), &filling),
        });
        let mut expect = Vec::new();
        for text in table.texts("expect") {
            self.expectations(text, &mut expect);
        }
        ProcedureStep {
            words,
            note,
            movement,
            wait_ms: table.get("wait").and_then(|node| self.time_of(node)),
            expect,
            span: table.get("expect").map_or(table.span, |node| node.span),
            measure,
            energy: read_energy(table),
            access: read_access(table),
            load: read_load(table),
            guarding: read_guarding(table).unwrap_or(Guarding::None),
        }
    }

    /// "X5 X6 lit, Y2 dark".
    fn expectations(&mut self, text: &Text, expect: &mut Vec<(ExpectedLamp, bool)>) {
        let all = words(&text.text);
        for part in all.split(|word| word.text == "," || word.text == "and") {
            let state = part.split_last().and_then(|(state, labels)| {
                let lit = match state.text.as_str() {
                    "lit" | "on" => true,
                    "dark" | "off" => false,
                    _ => return None,
                };
                (!labels.is_empty()).then_some((labels, lit))
            });
            let Some((labels, lit)) = state else {
                let span = part.last().map_or(text.span, |word| text.part(word.range.clone()));
                let what = "an expectation is labels and then `lit` or `dark`";
                self.problems.error(span, "bad-expectation", what, "write expect = \"X5 X6 lit, Y2 dark\"");
                continue;
            };
            for label in labels {
                match self.point(&label.text) {
                    Some(Point::Input(input)) => expect.push((ExpectedLamp::Input(input), lit)),
                    Some(Point::Output(output)) => expect.push((ExpectedLamp::Output(output), lit)),
                    None => {
                        let hint = self.hint(&label.text, self.points.keys().map(String::as_str));
                        let span: Span = text.part(label.range.clone());
                        self.problems.error(span, "unknown-name", format!("there is no point `{}`", label.text), hint);
                    }
                }
            }
        }
    }
}
