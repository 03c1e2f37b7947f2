//! Everything that can be at fault: the devices of points with the generic parts
//! of their chains, supplies, mechanisms, the controller; their fault modes,
//! checks and remedies.

use std::collections::BTreeMap;

use super::{Point, Resolver};
use crate::caution::{Doing, Forbidden};
use crate::id::{DeviationId, DeviceId, Id, InputId, MechanismId, OutputId, RemedyId, SupplyId};
use crate::library::{
    CheckType, DeviceType, FaultAction, FaultType, Filling, Observes, RemedyType, StandsIn, judge_fault, read_check,
    read_fault, read_guarding, read_remedy,
};
use crate::model::{
    Access, Answer, Chance, Check, CheckRole, Deviation, DeviationKind, Device, DeviceRole, Energy, FaultEffect,
    Forced, Guarding, InputStage, Load, MechanismClass, Observable, OutputStage, Part, PointUse, Rate, Remedy, Source,
    Who, Words,
};
use crate::source::Span;
use crate::tree::Table;

/// A device about to be made.
struct Plan<'p> {
    name: String,
    kind: &'p DeviceType,
    role: DeviceRole,
    /// The points it acts on.
    points: Vec<Point>,
    /// The part of the chain it is; `device` for the point's own device.
    part: &'p str,
    filling: Filling,
    place: Words,
    guarding: Guarding,
    /// Words beside those of the type, such as "lift is up".
    about: Words,
}

impl<'r> Resolver<'r> {
    pub fn devices(&mut self) {
        self.input_devices();
        self.output_devices();
        self.shared_devices();
        self.supply_devices();
        self.mechanism_devices();
        self.controller_device();
        self.note_unknown_devices();
        self.site_lapses();
        for lapse in std::mem::take(&mut self.lapses) {
            self.machine.deviations.push(lapse);
        }
    }

    fn input_devices(&mut self) {
        for index in 0..self.machine.inputs.len() {
            let id = InputId::new(index);
            if self.machine.inputs[id].usage != PointUse::Used {
                continue;
            }
            let Some(kind) = self.kind(&self.input_kinds[index]) else { continue };
            let table = self.input_tables[index];
            let chain = if kind.chain.is_empty() { vec!["device".to_string()] } else { kind.chain.clone() };
            let row = &self.machine.inputs[id];
            let (tag, place, about) = (row.tag.clone(), row.place.clone(), row.words.clone());
            let filling = self.point_filling(Words::plain(&row.tag), &row.label, &about, &place, row.supply);
            let role = DeviceRole::Input(id);
            self.chain(&chain, kind, &tag, role, Point::Input(id), table, &filling, &place, &about);
        }
    }

    fn output_devices(&mut self) {
        for index in 0..self.machine.outputs.len() {
            let id = OutputId::new(index);
            if self.machine.outputs[id].usage != PointUse::Used {
                continue;
            }
            let Some(kind) = self.kind(&self.wiring[index].kind) else { continue };
            let table = self.output_tables[index];
            let chain = if kind.chain.is_empty() { vec!["device".to_string()] } else { kind.chain.clone() };
            let row = &self.machine.outputs[id];
            let (tag, place, about) = (row.tag.clone(), row.place.clone(), row.words.clone());
            let label = row.label.clone().unwrap_or_default();
            let filling = self.point_filling(self.tag_words(id), &label, &about, &place, row.supply);
            let role = DeviceRole::Output(id);
            self.chain(&chain, kind, &tag, role, Point::Output(id), table, &filling, &place, &about);
        }
    }

    /// The devices of one point's chain; a cable that is shared comes later.
    #[allow(clippy::too_many_arguments)]
    fn chain(
        &mut self,
        chain: &[String],
        kind: &'r DeviceType,
        tag: &str,
        role: DeviceRole,
        point: Point,
        table: Option<&Table>,
        filling: &Filling,
        place: &Words,
        about: &Words,
    ) {
        let guarding = table.and_then(read_guarding).unwrap_or(kind.guarding);
        let shared_cable = table.is_some_and(|table| table.get("cable").is_some());
        let labelled = match point {
            Point::Input(_) => true,
            Point::Output(output) => self.machine.outputs[output].label.is_some(),
        };
        let lamp = "lamp".to_string();
        let parts = chain.iter().chain(std::iter::once(&lamp).filter(|_| labelled && !chain.contains(&lamp)));
        for part in parts {
            let own = part == "device";
            if shared_cable && matches!(part.as_str(), "cable" | "panel-wiring") {
                continue;
            }
            let part_kind = if own { Some(kind) } else { self.kind(part) };
            let Some(part_kind) = part_kind else { continue };
            let name = if own { tag.to_string() } else { format!("{tag} {part}") };
            self.device(Plan {
                name,
                kind: part_kind,
                role,
                points: vec![point],
                part,
                filling: filling.clone(),
                place: place.clone(),
                guarding,
                about: about.clone(),
            });
        }
    }

    fn point_filling(
        &self,
        tag: Words,
        label: &str,
        words: &Words,
        place: &Words,
        supply: Option<SupplyId>,
    ) -> Filling {
        let supply = supply.map(|supply| self.machine.supplies[supply].words.clone()).unwrap_or_default();
        Filling::default()
            .with_words("tag", tag.clone())
            .with_or("label", label, tag)
            .with_words("words", words.clone())
            .with_words("place", place.clone())
            .with_words("supply", supply)
    }

    /// Cables and boxes that several points share.
    fn shared_devices(&mut self) {
        for (key, kind_key) in [("cable", "cable"), ("box", "junction-box"), ("card", "card")] {
            let mut shared: BTreeMap<String, Vec<Point>> = BTreeMap::new();
            let inputs =
                self.input_tables.iter().enumerate().map(|(at, table)| (Point::Input(InputId::new(at)), *table));
            let outputs = self.output_tables.iter().enumerate();
            let outputs = outputs.map(|(at, table)| (Point::Output(OutputId::new(at)), *table));
            for (point, table) in inputs.chain(outputs) {
                if let Some(name) = table.and_then(|table| table.string(key)) {
                    shared.entry(name).or_default().push(point);
                }
            }
            let Some(kind) = self.kind(kind_key) else { continue };
            for (name, points) in shared {
                let filling =
                    self.point_filling(Words::plain(&name), &name, &self.kind_words(kind), &Words::default(), None);
                self.device(Plan {
                    name,
                    kind,
                    role: DeviceRole::Shared,
                    points,
                    part: key,
                    filling,
                    place: Words::default(),
                    guarding: Guarding::None,
                    about: Words::default(),
                });
            }
        }
    }

    fn supply_devices(&mut self) {
        for index in 0..self.machine.supplies.len() {
            let id = SupplyId::new(index);
            let Some(kind) = self.kind(&self.supply_kinds[index]) else { continue };
            let row = &self.machine.supplies[id];
            let words = row.words.clone();
            let filling = self.point_filling(Words::plain(&row.name), "", &words, &row.place, Some(id));
            let (name, place) = (row.name.clone(), row.place.clone());
            let device = self.device(Plan {
                name: name.clone(),
                kind,
                role: DeviceRole::Supply(id),
                points: Vec::new(),
                part: "device",
                filling,
                place,
                guarding: Guarding::None,
                about: words,
            });
            self.presence_check(id, device, &name);
        }
    }

    fn mechanism_devices(&mut self) {
        for index in 0..self.machine.mechanisms.len() {
            let id = MechanismId::new(index);
            let row = &self.machine.mechanisms[id];
            let (name, place, class, words) = (row.name.clone(), row.place.clone(), row.class, row.words.clone());
            let table = self.root.table("mechanisms").and_then(|table| table.table(&name));
            let key = match table.and_then(|table| table.text("is")) {
                Some(text) if self.kind(&text.text).is_some_and(|kind| kind.stands_in == StandsIn::Mechanism) => {
                    text.text.clone()
                }
                Some(text) => {
                    let hint = match self.library.nearest(&text.text) {
                        Some(kind) => format!("the nearest is \"{}\"", kind.key),
                        None => "types for mechanisms are such as mechanism or cylinder".to_string(),
                    };
                    let what = format!("`{}` is no type of mechanism", text.text);
                    self.problems.error(text.span, "unknown-type", what, hint);
                    "mechanism".to_string()
                }
                None if class == MechanismClass::Driven => "mechanism".to_string(),
                None => "hand-part".to_string(),
            };
            let own = table.is_some_and(|table| table.get("is").is_some());
            let mut device = None;
            if (class != MechanismClass::Button || own)
                && let Some(kind) = self.kind(&key)
            {
                let filling = self.point_filling(Words::plain(&name), "", &words, &place, None);
                device = Some(self.device(Plan {
                    name: name.clone(),
                    kind,
                    role: DeviceRole::Mechanism(id),
                    points: Vec::new(),
                    part: "device",
                    filling,
                    place,
                    guarding: kind.guarding,
                    about: words,
                }));
            }
            let asked = self.machine.checks.rows().any(|check| check.observes == Observable::Position(id));
            if class != MechanismClass::Button && !asked {
                self.position_check(id, device, &name);
            }
        }
    }

    fn controller_device(&mut self) {
        let Some(kind) = self.library.types.values().find(|kind| kind.stands_in == StandsIn::Controller) else {
            return;
        };
        let filling =
            self.point_filling(Words::plain("controller"), "", &self.kind_words(kind), &Words::default(), None);
        self.device(Plan {
            name: "controller".to_string(),
            kind,
            role: DeviceRole::Controller,
            points: Vec::new(),
            part: "device",
            filling,
            place: Words::default(),
            guarding: Guarding::None,
            about: Words::default(),
        });
    }

    /// Makes a device with its fault modes, remedies and checks.
    fn device(&mut self, plan: Plan<'_>) -> DeviceId {
        let over = self.overrides(&plan);
        let words = self.device_words(&plan, over);
        let place = match over.filter(|over| over.get("place").is_some()) {
            Some(over) => self.place(&format!("devices.{}", plan.name), over),
            None => plan.place.clone(),
        };
        let guarding = over.and_then(read_guarding).unwrap_or(plan.guarding);
        let device = self.machine.devices.push(Device {
            name: plan.name.clone(),
            words,
            type_key: plan.kind.key.clone(),
            role: plan.role,
            guarding,
            modes: Vec::new(),
            place,
        });
        let mut remedies = self.remedies_of(&plan, device);
        let mut faults: Vec<FaultType> = plan.kind.faults.clone();
        if let Some(over) = over {
            self.own_faults(over, plan.kind.stands_in, &mut faults);
        }
        let mut modes: BTreeMap<String, Vec<DeviationId>> = BTreeMap::new();
        for fault in &faults {
            let remedy = self.remedy_of_fault(&plan, device, fault, &mut remedies);
            for (suffix, effects) in self.effects(&plan, fault) {
                let key = format!("{}/{}{suffix}", plan.name, fault.key);
                let text_key = format!("{}.faults.{}", plan.kind.key, fault.key);
                let mut words = self.translations.words(&text_key, &fault.words, &plan.filling);
                if !suffix.is_empty() {
                    // The same words for each position would be several causes of one name.
                    let position = self.position_words(&plan.name, suffix.trim());
                    words.english += &format!(" ({})", position.english);
                    for (language, text) in &mut words.translations {
                        *text += &format!(" ({})", position.in_language(language));
                    }
                }
                let rate = Rate { chance: Chance::PerMillionHours(fault.rate), source: fault.source.clone() };
                let kind = DeviationKind::Fault(device);
                let after = self.after_events(&effects, false, &fault.after);
                let row = Deviation { key, words, kind, rate, effects, after, remedy };
                let id = self.machine.deviations.push(row);
                self.machine.devices[device].modes.push(id);
                modes.entry(fault.key.clone()).or_default().push(id);
            }
        }
        for check in &plan.kind.checks {
            self.checks_of(&plan, check, device, &modes);
        }
        for (index, table) in self.root.tables("checks").into_iter().enumerate() {
            if self.is_named(&plan, table) {
                let key = table.string("key").unwrap_or_else(|| format!("own-{}", index + 1));
                self.checks_of(&plan, &read_check(&key, table), device, &modes);
            }
        }
        device
    }

    /// The table in `[devices]` for this device: by its own name, or by the label of its point.
    fn overrides(&self, plan: &Plan<'_>) -> Option<&'r Table> {
        let devices = self.root.table("devices")?;
        let label = match plan.role {
            DeviceRole::Input(input) => Some(self.machine.inputs[input].label.as_str()),
            DeviceRole::Output(output) => self.machine.outputs[output].label.as_deref(),
            _ => None,
        };
        let label = label.filter(|_| plan.part == "device");
        devices.table(&plan.name).or_else(|| devices.table(label?))
    }

    /// Whether this is the device that a table of `[[checks]]` or `[[remedies]]` names.
    fn is_named(&self, plan: &Plan<'_>, table: &Table) -> bool {
        let Some(name) = table.string("device") else { return false };
        let label = match plan.role {
            DeviceRole::Input(input) => Some(self.machine.inputs[input].label.clone()),
            DeviceRole::Output(output) => self.machine.outputs[output].label.clone(),
            _ => None,
        };
        name == plan.name || (plan.part == "device" && label == Some(name))
    }

    fn device_words(&self, plan: &Plan<'_>, over: Option<&Table>) -> Words {
        if let Some(words) = over.and_then(|over| over.string("words")) {
            return self.translations.words(&format!("devices.{}", plan.name), &words, &plan.filling);
        }
        let kind = self.kind_words(plan.kind);
        let tag = plan.name.split(' ').next().unwrap_or_default();
        let compose = |kind: &str, about: &str| match (plan.role, plan.part) {
            (DeviceRole::Supply(_) | DeviceRole::Mechanism(_), _) => about.to_string(),
            (DeviceRole::Controller, _) => kind.to_string(),
            (DeviceRole::Shared, _) => format!("{kind} {}", plan.name),
            (DeviceRole::Output(output), _) if self.machine.outputs[output].label.is_none() => {
                format!("{kind} ({about})")
            }
            (_, "device") if about.is_empty() => format!("{kind} {tag}"),
            (_, "device") => format!("{kind} {tag} ({about})"),
            _ => format!("{kind} {tag}"),
        };
        let translations = kind
            .translations
            .iter()
            .map(|(language, text)| (language.clone(), compose(text, plan.about.in_language(language))))
            .collect();
        let key = format!("devices.{}", plan.name);
        Words { key, english: compose(&kind.english, &plan.about.english), translations }
    }

    /// What people call a device type.
    fn kind_words(&self, kind: &DeviceType) -> Words {
        self.translations.words(&format!("types.{}", kind.key), &kind.words, &Filling::default())
    }

    /// Rates and fault modes that the machine file gives for one device.
    fn own_faults(&mut self, over: &Table, kind: StandsIn, faults: &mut Vec<FaultType>) {
        for entry in over.entries_of("faults") {
            let Some(table) = entry.node.table() else { continue };
            judge_fault(table, kind, &mut self.problems);
            let own = read_fault(&entry.key, table, &mut self.problems);
            match faults.iter_mut().find(|fault| fault.key == entry.key) {
                Some(fault) => *fault = own,
                None => faults.push(own),
            }
        }
        for entry in over.entries_of("rate") {
            let Some(rate) = entry.node.number().filter(|rate| (0.0..=1e6).contains(rate)) else {
                let hint = "rates are per million hours, 0 to 1,000,000";
                self.problems.error(entry.node.span, "out-of-range", "this is no rate", hint);
                continue;
            };
            match faults.iter_mut().find(|fault| fault.key == entry.key) {
                Some(fault) => {
                    fault.rate = rate;
                    fault.source = Source::File;
                }
                None => {
                    let hint = self.hint(&entry.key, faults.iter().map(|fault| fault.key.as_str()));
                    let what = format!("it has no fault mode `{}`", entry.key);
                    self.problems.error(entry.key_span, "unknown-name", what, hint);
                }
            }
        }
    }

    /// What a fault mode does here; several modes where it depends on the position.
    fn effects(&self, plan: &Plan<'_>, fault: &FaultType) -> Vec<(String, Vec<FaultEffect>)> {
        if let DeviceRole::Mechanism(mechanism) = plan.role {
            return self.mechanism_effects(mechanism, fault);
        }
        let forced = match fault.action {
            FaultAction::Off => Forced::Off,
            FaultAction::On => Forced::On,
            FaultAction::Chatters(make, pause) => Forced::Chatters(make, pause),
            FaultAction::Stopped => return vec![(String::new(), vec![FaultEffect::ControllerStopped])],
            FaultAction::Error => return vec![(String::new(), vec![FaultEffect::ControllerError])],
            _ => return Vec::new(),
        };
        let effects: Vec<FaultEffect> = match plan.role {
            DeviceRole::Supply(supply) => vec![FaultEffect::Supply(supply, forced)],
            DeviceRole::Controller | DeviceRole::Mechanism(_) => Vec::new(),
            DeviceRole::Input(_) | DeviceRole::Output(_) | DeviceRole::Shared => plan
                .points
                .iter()
                .map(|point| match *point {
                    Point::Input(input) => {
                        FaultEffect::Input(input, input_stage(fault.at.as_deref(), plan.part), forced)
                    }
                    Point::Output(output) => {
                        FaultEffect::Output(output, output_stage(fault.at.as_deref(), plan.part), forced)
                    }
                })
                .collect(),
        };
        if effects.is_empty() { Vec::new() } else { vec![(String::new(), effects)] }
    }

    fn mechanism_effects(&self, mechanism: MechanismId, fault: &FaultType) -> Vec<(String, Vec<FaultEffect>)> {
        let row = &self.machine.mechanisms[mechanism];
        let all = || (0..row.positions.len()).filter_map(|at| u8::try_from(at).ok());
        match &fault.action {
            FaultAction::Stuck => vec![(String::new(), vec![FaultEffect::Stuck(mechanism)])],
            FaultAction::Slow(percent) => vec![(String::new(), vec![FaultEffect::Slow(mechanism, *percent)])],
            FaultAction::StopsShort(of) => all()
                .filter(|at| of.as_ref().is_none_or(|of| row.positions[usize::from(*at)] == *of))
                .map(|at| {
                    (format!(" {}", row.positions[usize::from(at)]), vec![FaultEffect::StopsShort(mechanism, at)])
                })
                .collect(),
            FaultAction::Creeps(within) => {
                let from: Vec<u8> = match row.raised_at {
                    Some(raised) => vec![raised],
                    None => all().filter(|at| *at != row.rest).collect(),
                };
                from.into_iter()
                    .map(|from| {
                        let to = if from == row.rest {
                            super::mechanisms::other_position(from, row.positions.len())
                        } else {
                            row.rest
                        };
                        let effect = FaultEffect::Creeps(mechanism, from, to, *within);
                        (format!(" {}", row.positions[usize::from(from)]), vec![effect])
                    })
                    .collect()
            }
            _ => Vec::new(),
        }
    }

    /// The remedies of a device by key: those of its type, then the machine file's own.
    fn remedies_of(&mut self, plan: &Plan<'_>, device: DeviceId) -> BTreeMap<String, RemedyId> {
        let mut ids = BTreeMap::new();
        for remedy in &plan.kind.remedies {
            let text_key = format!("{}.remedies.{}", plan.kind.key, remedy.key);
            ids.insert(remedy.key.clone(), self.remedy(plan, device, remedy, &text_key));
        }
        for (index, table) in self.root.tables("remedies").into_iter().enumerate() {
            if self.is_named(plan, table) {
                let key = table.string("key").unwrap_or_else(|| format!("own-{}", index + 1));
                let remedy = read_remedy(&key, table);
                ids.insert(key, self.remedy(plan, device, &remedy, ""));
            }
        }
        ids
    }

    fn remedy(&mut self, plan: &Plan<'_>, device: DeviceId, remedy: &RemedyType, text_key: &str) -> RemedyId {
        let words = self.translations.words(text_key, &remedy.words, &plan.filling);
        let part = remedy.part.as_ref().map(|part| Part {
            words: self.translations.words(&format!("{text_key}.part"), part, &plan.filling),
            price: remedy.price,
        });
        let mut row = Remedy {
            key: format!("{}/{}", plan.name, remedy.key),
            device: Some(device),
            words,
            minutes: remedy.minutes,
            part,
            who: remedy.who,
            energy: remedy.energy,
            access: remedy.access,
            load: remedy.load,
            does: None,
            source: remedy.source.clone(),
        };
        let doing = Doing::of_remedy(&self.machine, &row);
        row.energy = doing.safe_energy();
        row.who = row.who.max(doing.who());
        self.machine.remedies.push(row)
    }

    /// The remedy that a fault mode names: by key, or as words of its own.
    fn remedy_of_fault(
        &mut self,
        plan: &Plan<'_>,
        device: DeviceId,
        fault: &FaultType,
        remedies: &mut BTreeMap<String, RemedyId>,
    ) -> Option<RemedyId> {
        let key = fault.remedy.as_ref()?;
        if let Some(id) = remedies.get(key) {
            return Some(*id);
        }
        let own = read_remedy(key, &Table::default());
        let id = self.remedy(plan, device, &own, "");
        remedies.insert(key.clone(), id);
        Some(id)
    }

    fn checks_of(
        &mut self,
        plan: &Plan<'_>,
        check: &CheckType,
        device: DeviceId,
        modes: &BTreeMap<String, Vec<DeviationId>>,
    ) {
        for (name, observes, filling) in self.observables(plan, check, modes) {
            let key = format!("{name}/{}", check.key);
            let text_key = |field: &str| format!("{}.{}.{field}", plan.kind.key, check.key);
            let words = |field: &str, text: &str| self.translations.words(&text_key(field), text, &filling);
            let answers = match observes {
                Observable::Position(mechanism) => self.position_answers(mechanism),
                _ => vec![
                    Answer { key: "on".to_string(), words: words("yes", &check.yes) },
                    Answer { key: "off".to_string(), words: words("no", &check.no) },
                ],
            };
            let mut row = Check {
                key,
                device: Some(device),
                operator: words("operator", &check.operator),
                technician: words("technician", &check.technician),
                observes,
                answers,
                role: check.role,
                minutes: check.minutes,
                error: check.error,
                who: check.who,
                energy: check.energy,
                access: check.access,
                load: check.load,
                source: check.source.clone(),
            };
            let doing = Doing::of_check(&self.machine, &row);
            // Nothing that guards people is swapped or tried by hand.
            if doing.forbidden().contains(&Forbidden::TriesGuard) {
                continue;
            }
            row.energy = doing.safe_energy();
            row.who = row.who.max(doing.who());
            self.machine.checks.push(row);
        }
    }

    /// What a check looks at here; for shared devices one for each point.
    fn observables(
        &self,
        plan: &Plan<'_>,
        check: &CheckType,
        modes: &BTreeMap<String, Vec<DeviationId>>,
    ) -> Vec<(String, Observable, Filling)> {
        let once = |observable| vec![(plan.name.clone(), observable, plan.filling.clone())];
        match &check.observes {
            Observes::Inspect(keys) => {
                let seen: Vec<DeviationId> = keys.iter().filter_map(|key| modes.get(key)).flatten().copied().collect();
                if seen.is_empty() { Vec::new() } else { once(Observable::Inspect(seen)) }
            }
            Observes::Supply => match self.supply_of(plan) {
                Some(supply) => once(Observable::Supply(supply)),
                None => Vec::new(),
            },
            Observes::Position => match self.mechanism_of(plan) {
                Some(mechanism) => once(Observable::Position(mechanism)),
                None => Vec::new(),
            },
            Observes::MovesFreely => match self.mechanism_of(plan) {
                Some(mechanism) => once(Observable::MovesFreely(mechanism)),
                None => Vec::new(),
            },
            Observes::Stage(stage) => plan
                .points
                .iter()
                .map(|point| {
                    let (tag, filling) = self.filling_of(*point);
                    let name = if plan.role == DeviceRole::Shared {
                        format!("{tag} {}", plan.part)
                    } else {
                        plan.name.clone()
                    };
                    let observable = match *point {
                        Point::Input(input) => Observable::InputStage(input, input_stage(Some(stage), plan.part)),
                        Point::Output(output) => Observable::OutputStage(output, output_stage(Some(stage), plan.part)),
                    };
                    (name, observable, filling)
                })
                .collect(),
        }
    }

    fn filling_of(&self, point: Point) -> (String, Filling) {
        match point {
            Point::Input(input) => {
                let row = &self.machine.inputs[input];
                let words = &row.words;
                (row.tag.clone(), self.point_filling(Words::plain(&row.tag), &row.label, words, &row.place, row.supply))
            }
            Point::Output(output) => {
                let row = &self.machine.outputs[output];
                let label = row.label.clone().unwrap_or_default();
                let words = &row.words;
                (row.tag.clone(), self.point_filling(self.tag_words(output), &label, words, &row.place, row.supply))
            }
        }
    }

    fn supply_of(&self, plan: &Plan<'_>) -> Option<SupplyId> {
        match plan.role {
            DeviceRole::Supply(supply) => Some(supply),
            DeviceRole::Input(input) => self.machine.inputs[input].supply,
            DeviceRole::Output(output) => self.machine.outputs[output].supply,
            _ => None,
        }
    }

    fn mechanism_of(&self, plan: &Plan<'_>) -> Option<MechanismId> {
        match plan.role {
            DeviceRole::Mechanism(mechanism) => Some(mechanism),
            DeviceRole::Output(output) => self.wiring[output.index()].moves.first().map(|(mechanism, _)| *mechanism),
            DeviceRole::Input(input) => {
                self.machine.inputs[input].lit.facts().into_iter().find_map(|fact| match fact {
                    crate::model::WorldFact::At(mechanism, _) => Some(*mechanism),
                    _ => None,
                })
            }
            _ => None,
        }
    }

    fn position_answers(&self, mechanism: MechanismId) -> Vec<Answer> {
        let row = &self.machine.mechanisms[mechanism];
        let named = row.positions.iter().zip(&row.position_words);
        let mut answers: Vec<Answer> =
            named.map(|(key, words)| Answer { key: key.clone(), words: words.clone() }).collect();
        answers.push(Answer { key: "between".to_string(), words: self.between() });
        answers
    }

    /// "Where does the lift stand?"
    fn position_check(&mut self, mechanism: MechanismId, device: Option<DeviceId>, name: &str) {
        let words = self.machine.mechanisms[mechanism].words.clone();
        let operator = self.about_check("implied.position", "Where does the {words} stand?", &words);
        let technician = self.about_check("implied.position", "Where does the {words} stand?", &words);
        self.machine.checks.push(Check {
            key: format!("{name}/where"),
            device,
            operator,
            technician,
            observes: Observable::Position(mechanism),
            answers: self.position_answers(mechanism),
            role: CheckRole::Look,
            minutes: 0.5,
            error: 0.02,
            who: Who::Operator,
            energy: Energy::Normal,
            access: Access::Outside,
            load: Load::None,
            source: Source::Practice,
        });
    }

    /// A question with the words of a thing in it, in all languages.
    fn about_check(&self, key: &str, english: &str, about: &Words) -> Words {
        let template = self.translations.words(key, english, &Filling::default());
        let fill = |text: &str, words: &str| Filling::default().with("words", words).fill(text, "");
        let translations = template
            .translations
            .iter()
            .map(|(language, text)| (language.clone(), fill(text, about.in_language(language))))
            .collect();
        Words { key: key.to_string(), english: fill(&template.english, &about.english), translations }
    }

    /// "Is the compressed air there?", unless the type has a check of its own for it.
    fn presence_check(&mut self, supply: SupplyId, device: DeviceId, name: &str) {
        if self.machine.checks.rows().any(|check| check.observes == Observable::Supply(supply)) {
            return;
        }
        let row = &self.machine.supplies[supply];
        let words = row.words.clone();
        let electric = row.kind == crate::model::SupplyKind::Electric;
        let yes = self.translations.words("implied.there", "it is there", &Filling::default());
        let no = self.translations.words("implied.missing", "it is missing", &Filling::default());
        self.machine.checks.push(Check {
            key: format!("{name}/there"),
            device: Some(device),
            operator: self.about_check("implied.presence", "Is there {words}?", &words),
            technician: self.about_check("implied.presence", "Is there {words}?", &words),
            observes: Observable::Supply(supply),
            answers: vec![Answer { key: "on".to_string(), words: yes }, Answer { key: "off".to_string(), words: no }],
            role: if electric { CheckRole::Measure } else { CheckRole::Look },
            minutes: if electric { 4.0 } else { 1.0 },
            error: 0.01,
            who: if electric { Who::Electrician } else { Who::Operator },
            energy: if electric { Energy::Live } else { Energy::Normal },
            access: if electric { Access::Cabinet } else { Access::Outside },
            load: Load::None,
            source: Source::Practice,
        });
    }

    /// Everything in `[devices]`, `[[checks]]` and `[[remedies]]` must name a device that there is.
    fn note_unknown_devices(&mut self) {
        for key in ["checks", "remedies"] {
            for table in self.root.tables(key) {
                self.device_or_note(table);
            }
        }
        for entry in self.entries("devices") {
            self.device_named(&entry.key, entry.key_span);
        }
    }

    /// The device named by the key `device`: by its name, a label, or a tag.
    fn device_or_note(&mut self, table: &Table) -> Option<DeviceId> {
        let Some(text) = table.text("device") else {
            let hint = "write device = \"…\": a tag, a supply, a mechanism or \"controller\"";
            self.problems.error(table.span, "missing-key", "which device?", hint);
            return None;
        };
        self.device_named(&text.text, text.span)
    }

    fn device_named(&mut self, name: &str, span: Span) -> Option<DeviceId> {
        let tag = match self.point(name) {
            Some(Point::Input(input)) => self.machine.inputs[input].tag.clone(),
            Some(Point::Output(output)) => self.machine.outputs[output].tag.clone(),
            None => name.to_string(),
        };
        let found = self.machine.devices.find(|device| device.name == tag).map(|(id, _)| id);
        if found.is_none() {
            // Parts of chains have a blank in their names; nobody means them.
            let names = self.machine.devices.rows().map(|row| row.name.as_str()).filter(|name| !name.contains(' '));
            let hint = self.hint(name, names);
            self.problems.error(span, "unknown-name", format!("there is no device `{name}`"), hint);
        }
        found
    }
}

/// The stage of an input's chain by its name, else by the part that it is.
fn input_stage(at: Option<&str>, part: &str) -> InputStage {
    match (at.unwrap_or(part), part) {
        ("target", _) => InputStage::Target,
        ("cable" | "box", _) => InputStage::Cable,
        ("terminal" | "terminal-row", _) => InputStage::Terminal,
        ("card" | "input-card" | "output-card", _) => InputStage::Card,
        ("lamp", _) => InputStage::Lamp,
        _ => InputStage::Sensor,
    }
}

/// The stage of an output's chain by its name, else by the part that it is.
fn output_stage(at: Option<&str>, part: &str) -> OutputStage {
    match (at.unwrap_or(part), part) {
        ("lamp", _) => OutputStage::Lamp,
        ("card" | "output-card", _) => OutputStage::Card,
        ("cable" | "box" | "terminal" | "terminal-row", _) => OutputStage::Cable,
        ("coil", _) => OutputStage::Coil,
        _ => OutputStage::Valve,
    }
}
