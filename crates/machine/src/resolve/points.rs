//! Inputs and outputs.

use super::{OutputWiring, Point, Resolver, humanised};
use crate::condition::Condition;
use crate::id::{Id, MechanismId, OutputId};
use crate::library::StandsIn;
use crate::model::{Guarding, Input, MechanismClass, Output, PointUse, SupplyKind, Words, WorldFact};
use crate::source::Span;
use crate::text::sentence::{Verb, words};
use crate::tree::{Entry, Table};

use super::raw_chart::RawChart;

/// Travel time where neither file nor type says one, ms.
const USUAL_TRAVEL_MS: u64 = 1_000;
/// Tolerance of travel times where the file says none, percent. Common practice, no source.
const USUAL_TOLERANCE: u32 = 30;

impl<'r> Resolver<'r> {
    pub fn inputs(&mut self) {
        for entry in self.entries("inputs") {
            self.input(entry);
        }
    }

    fn input(&mut self, entry: &'r Entry) {
        let usage = self.usage(entry);
        let empty = Table::default();
        let table = entry.node.table().unwrap_or(&empty);
        let lit = match table.text("lit") {
            Some(text) => self.parse_condition(text).map(|expression| self.world(&expression, text)),
            None => None,
        };
        let lit = lit.unwrap_or(Condition::Always(false));
        let guess = self.guessed_kind(&lit, table);
        let kind = self.kind_of(table, &guess);
        self.expect_stand(table, entry.key_span, &kind, StandsIn::Input);
        let tag = table.string("tag").unwrap_or_else(|| entry.key.clone());
        let supply = self.supply_or_note(table, "supply").or_else(|| self.default_supply());
        let key = format!("inputs.{}", entry.key);
        let words = match table.string("lit").filter(|_| table.get("words").is_none()) {
            Some(written) => self.words_or(&key, &said(&written), self.world_words(&lit).unwrap_or_default()),
            None => self.own_words(&key, table, &humanised(&entry.key)),
        };
        let input = Input {
            label: entry.key.clone(),
            words,
            usage,
            lit,
            supply: if usage == PointUse::Used { supply } else { None },
            on_delay_ms: table.get("on_delay").and_then(|node| self.time_of(node)).unwrap_or(0),
            off_delay_ms: table.get("off_delay").and_then(|node| self.time_of(node)).unwrap_or(0),
            place: self.place(&key, table),
            picture: picture(table),
            own_led: self.kind(&kind).is_some_and(|kind| kind.own_led),
            tag: tag.clone(),
        };
        let id = self.machine.inputs.push(input);
        self.input_kinds.push(kind);
        self.input_tables.push(entry.node.table());
        self.input_spans.push(entry.key_span);
        self.name_point(&entry.key, &tag, Point::Input(id), entry.key_span);
    }

    fn usage(&mut self, entry: &Entry) -> PointUse {
        let Some(text) = entry.node.text() else {
            let usage = entry.node.table().and_then(|table| table.string("use"));
            return match usage.as_deref() {
                Some("spare") => PointUse::Spare,
                Some("out of use") => PointUse::OutOfUse,
                _ => PointUse::Used,
            };
        };
        match text.text.as_str() {
            "spare" => PointUse::Spare,
            "out of use" => PointUse::OutOfUse,
            other => {
                let what = format!("`{other}` says nothing about this point");
                let hint = "write \"spare\", \"out of use\", or a table { … }";
                self.problems.error(text.span, "bad-use", what, hint);
                PointUse::Spare
            }
        }
    }

    /// Notes label and tag; two points on one name are a mistake.
    fn name_point(&mut self, label: &str, tag: &str, point: Point, span: Span) {
        let names = if label == tag { vec![label] } else { vec![label, tag] };
        for name in names {
            match self.points.get(name) {
                Some(other) if *other != point => {
                    let other = match *other {
                        Point::Input(input) => self.machine.inputs[input].label.clone(),
                        Point::Output(output) => self.machine.outputs[output].label.clone().unwrap_or_default(),
                    };
                    let what = format!("`{name}` already stands for the point {other}");
                    self.problems.error(span, "two-points", what, "labels and tags must differ from each other");
                }
                _ => {
                    self.points.insert(name.to_string(), point);
                }
            }
        }
    }

    fn expect_stand(&mut self, table: &Table, span: Span, kind: &str, stands: StandsIn) {
        let Some(found) = self.kind(kind) else { return };
        if found.stands_in != stands {
            let span = table.text("is").map_or(span, |text| text.span);
            let what =
                format!("`{kind}` does not stand in an {}", if stands == StandsIn::Input { "input" } else { "output" });
            self.problems.error(span, "wrong-type", what, "choose a type that fits this point");
        }
    }

    /// The type of an input that doesn't say: by what it shows.
    fn guessed_kind(&self, lit: &Condition<WorldFact>, table: &Table) -> String {
        let about = lit.facts().into_iter().find_map(|fact| match fact {
            WorldFact::At(mechanism, position) => Some((*mechanism, *position)),
            _ => None,
        });
        let Some((mechanism, position)) = about else { return "sensor".to_string() };
        let row = &self.machine.mechanisms[mechanism];
        if row.class == MechanismClass::Button {
            let pressed = (position != row.rest) != matches!(lit, Condition::Not(_));
            return if pressed { "push-button-no" } else { "push-button-nc" }.to_string();
        }
        let name = format!("{} {}", row.name, table.string("words").unwrap_or_default()).to_lowercase();
        let mut words = name.split(|letter: char| !letter.is_alphabetic());
        let guards = words.any(|word| ["door", "guard", "hood", "gate"].contains(&word));
        let guard = self.library.types.values().find(|kind| {
            kind.stands_in == StandsIn::Input && kind.guarding == Guarding::Guard && kind.key.contains("door")
        });
        match guard {
            Some(kind) if guards && row.class == MechanismClass::Hand => kind.key.clone(),
            _ => "sensor".to_string(),
        }
    }

    pub fn outputs(&mut self) {
        for entry in self.entries("outputs") {
            self.output(entry);
        }
    }

    fn output(&mut self, entry: &'r Entry) {
        let usage = self.usage(entry);
        let empty = Table::default();
        let table = entry.node.table().unwrap_or(&empty);
        let default = if table.get("moves").is_some() { "contactor-motor" } else { "indicator-lamp" };
        let kind = self.kind_of(table, default);
        self.expect_stand(table, entry.key_span, &kind, StandsIn::Output);
        let moves = self.pairs(table, "moves");
        let back = self.pairs(table, "back");
        let moved = moves.first().map(|(mechanism, position)| self.stands(*mechanism, *position));
        let wiring = self.wiring_of(table, &kind, moves, back);
        let tag = table.string("tag").unwrap_or_else(|| entry.key.clone());
        let supply = self.supply_or_note(table, "supply").or_else(|| self.default_supply());
        let key = format!("outputs.{}", entry.key);
        let words = match table.string("moves").filter(|_| table.get("words").is_none()) {
            Some(written) => self.words_or(&key, &written, moved.unwrap_or_default()),
            None => self.own_words(&key, table, &humanised(&entry.key)),
        };
        let id = self.machine.outputs.push(Output {
            label: Some(entry.key.clone()),
            words,
            usage,
            driven: Condition::Always(false),
            supply: if usage == PointUse::Used { supply } else { None },
            place: self.place(&key, table),
            picture: picture(table),
            tag: tag.clone(),
        });
        self.wire(wiring);
        self.output_tables.push(entry.node.table());
        self.name_point(&entry.key, &tag, Point::Output(id), entry.key_span);
    }

    fn wiring_of(
        &mut self,
        table: &Table,
        kind_key: &str,
        moves: Vec<(MechanismId, u8)>,
        back: Vec<(MechanismId, u8)>,
    ) -> OutputWiring {
        let kind = self.kind(kind_key);
        let own_takes = table.get("takes").and_then(|node| self.time_of(node));
        let takes_ms = own_takes.or_else(|| kind.and_then(|kind| kind.takes_ms)).unwrap_or(USUAL_TRAVEL_MS);
        let needed_kind = kind.and_then(|kind| kind.needs);
        let needs = match self.supply_or_note(table, "needs") {
            Some(supply) => Some(supply),
            None => needed_kind.and_then(|kind| self.supply_of_kind(kind)),
        };
        OutputWiring {
            moves,
            back,
            kind: kind_key.to_string(),
            returns: table.flag("returns").unwrap_or_else(|| kind.is_some_and(|kind| kind.returns)),
            needs,
            takes_ms,
            back_takes_ms: table.get("back_takes").and_then(|node| self.time_of(node)).unwrap_or(takes_ms),
            tolerance: self.tolerance_of(table),
        }
    }

    /// The first supply of a kind; air is implied where a valve needs it and the file names none.
    fn supply_of_kind(&mut self, kind: SupplyKind) -> Option<crate::id::SupplyId> {
        let found = self.first_supply(kind);
        match (found, kind) {
            (Some(supply), _) => Some(supply),
            (None, SupplyKind::Air) => {
                Some(self.implied_supply("air", "compressed-air", "compressed air", SupplyKind::Air))
            }
            (None, _) => None,
        }
    }

    /// The key `tolerance` in percent: `"30 %"` or a whole number.
    pub fn tolerance_of(&mut self, table: &Table) -> u32 {
        let Some(node) = table.get("tolerance") else { return USUAL_TOLERANCE };
        let percent = match node.text() {
            Some(text) => text.text.trim_end_matches('%').trim().parse::<f64>().ok(),
            None => node.number(),
        };
        match percent {
            // Checked to be small and positive.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            Some(percent) if (0.0..=90.0).contains(&percent) => percent.round() as u32,
            _ => {
                let hint = "write tolerance = \"30 %\"";
                self.problems.error(node.span, "out-of-range", "a tolerance is 0 % to 90 %", hint);
                USUAL_TOLERANCE
            }
        }
    }

    /// "MECHANISM POSITION" pairs of a key.
    fn pairs(&mut self, table: &Table, key: &str) -> Vec<(MechanismId, u8)> {
        let mut pairs = Vec::new();
        for text in table.texts(key) {
            let words = words(&text.text);
            let [mechanism, position] = words.as_slice() else {
                let what = format!("`{}` is not a mechanism and a position", text.text);
                self.problems.error(
                    text.span,
                    "bad-pair",
                    what,
                    "write a mechanism and a position, such as \"lift down\"",
                );
                continue;
            };
            let span = text.part(mechanism.range.clone());
            let Some(id) = self.mechanism_or_note(&mechanism.text, span) else { continue };
            let place = text.part(position.range.clone());
            if let Some(at) = self.position_or_note(id, &position.text, place) {
                pairs.push((id, at));
            }
        }
        pairs
    }

    /// Outputs for what steps do and no output does.
    pub fn implied_outputs(&mut self, charts: &[RawChart<'r>]) {
        for clause in charts.iter().flat_map(|chart| &chart.steps).flat_map(|step| &step.clauses) {
            if !matches!(clause.it.verb, Verb::Do | Verb::Run) {
                continue;
            }
            let Some(mechanism) = self.mechanism(&clause.it.object.text) else { continue };
            let position = match &clause.it.position {
                Some(word) => self.position_or_note(mechanism, &word.text, clause.text.part(word.range.clone())),
                None => Some(1),
            };
            let Some(position) = position else { continue };
            if !self.can_be_driven(mechanism, position) {
                self.implied_output(mechanism, position, clause.it.verb);
            }
        }
    }

    /// Whether an output, or the lack of one, leads there.
    fn can_be_driven(&self, mechanism: MechanismId, position: u8) -> bool {
        let table =
            self.root.table("mechanisms").and_then(|table| table.table(&self.machine.mechanisms[mechanism].name));
        if table.is_some_and(|table| table.get("moves").is_some()) {
            return true;
        }
        self.output_moving(mechanism, position).is_some() || self.returns_to(mechanism, position)
    }

    /// Adds what is known of the newest output.
    fn wire(&mut self, wiring: OutputWiring) {
        let output = OutputId::new(self.wiring.len());
        for (mechanism, position) in &wiring.moves {
            self.movers.entry((*mechanism, *position)).or_default().push(output);
            self.drivers.entry(*mechanism).or_default().push(output);
        }
        self.wiring.push(wiring);
    }

    /// The outputs that move a mechanism to a position.
    pub fn outputs_moving(&self, mechanism: MechanismId, position: u8) -> Vec<OutputId> {
        self.movers.get(&(mechanism, position)).cloned().unwrap_or_default()
    }

    /// The outputs that move a mechanism.
    pub fn drivers_of(&self, mechanism: MechanismId) -> &[OutputId] {
        self.drivers.get(&mechanism).map(Vec::as_slice).unwrap_or_default()
    }

    fn output_moving(&self, mechanism: MechanismId, position: u8) -> Option<OutputId> {
        self.outputs_moving(mechanism, position).first().copied()
    }

    /// Whether the mechanism goes to this position when its outputs are off.
    fn returns_to(&self, mechanism: MechanismId, position: u8) -> bool {
        let drivers = self.drivers_of(mechanism).iter();
        drivers
            .map(|output| &self.wiring[output.index()])
            .any(|wiring| self.back_of(wiring, mechanism) == Some(position))
    }

    fn implied_output(&mut self, mechanism: MechanismId, position: u8, verb: Verb) {
        let row = &self.machine.mechanisms[mechanism];
        let name = format!("{} {}", row.name, row.positions[usize::from(position)]);
        let kind = if verb == Verb::Do { "solenoid-valve-double" } else { "contactor-motor" };
        let words = self.words_or("", &humanised(&name), self.stands(mechanism, position));
        let wiring = self.wiring_of(&Table::default(), kind, vec![(mechanism, position)], Vec::new());
        self.machine.outputs.push(Output {
            label: None,
            tag: format!("{name} (output)"),
            words,
            usage: PointUse::Used,
            driven: Condition::Always(false),
            supply: self.default_supply(),
            place: Words::default(),
            picture: None,
        });
        self.wire(wiring);
        self.output_tables.push(None);
    }
}

/// `lift = down AND air` as people say it.
fn said(lit: &str) -> String {
    humanised(lit).replace(" = ", " is ")
}

fn picture(table: &Table) -> Option<(String, f64, f64)> {
    let picture = table.table("picture")?;
    let clip = |key: &str| picture.number(key).unwrap_or(0.5).clamp(0.0, 1.0);
    Some((picture.string("file")?, clip("across"), clip("down")))
}
