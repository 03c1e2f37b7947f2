//! A text about deeds, cut into parts, each turned into what it says was done.

use std::ops::Range;
use std::sync::LazyLock;

use machine::Machine;
use machine::id::MechanismId;
use machine::model::{HandAction, HandMove, MechanismClass};

use super::same::{content_of, same_deed, says_nothing, sentences};
use super::{Done, PRESSED_MS, trimmed};
use crate::reading::mistake::{MistakeKind, Mistakes, listed};
use crate::reading::phrase::Phrases;
use crate::reading::things::{Found, SaidPlace, Thing, Things, is_word};
use crate::reading::unit::{Unit, UnitKind, units};

/// What a word does in a sentence about a deed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Verb {
    Press,
    Hold,
    LetGo,
    /// Moving something; where to is said beside it.
    Move,
    On,
    Off,
    PowerOn,
    PowerOff,
    PowerCycle,
    Wait,
    Nothing,
    NotDone,
    Beside,
    And,
}

// The German and Spanish words were not reviewed by native speakers.
const VERBS: &[(Verb, &str)] = &[
    (
        Verb::Press,
        "press, pressed, presses, pressing, hit, hits, tapped, tap, clicked, drucken, gedruckt, pulsar, pulsado, presionado",
    ),
    (Verb::Hold, "hold, held, holds, holding, hold down, held down, kept pressing, keep pressing, gehalten, halten"),
    (Verb::LetGo, "let go, let go of, release, released, releases, losgelassen, soltado"),
    (
        Verb::Move,
        "push, pushed, move, moved, put, set, turned, turn, brought, bring, pulled, pull, slid, slide, swung, swing, moved by hand, pushed by hand, by hand",
    ),
    (Verb::On, "on, switched on, turned on, switch on, turn on, opened, open"),
    (Verb::Off, "off, switched off, turned off, switch off, turn off, closed, shut, shut off"),
    (
        Verb::PowerOn,
        "power on, powered on, power up, powered up, powered it on, power it on, switched it on, switched the machine on, switched on the machine, turned it on, turned the machine on, turned on the machine, switched the power on, turned the power on, main switch on, eingeschaltet, einschalten, encendido, encender",
    ),
    (
        Verb::PowerOff,
        "power off, powered off, powered down, powered it off, switched it off, switched the machine off, turned it off, turned the machine off, switched the power off, turned the power off, main switch off, ausgeschaltet, apagado",
    ),
    (
        Verb::PowerCycle,
        "power cycle, power cycled, powercycled, cycled the power, cycled power, cycle the power, power off and on, power off and on again, powered off and on, powered off and on again, off and on, off and on again, switched off and on, switched off and on again, switched it off and on, switched it off and on again, switched the machine off and on, switched the machine off and on again, turned off and on, turned off and on again, turned it off and on, turned it off and on again, turned the machine off and on, turned the machine off and on again, restarted, restart, restarted it, rebooted, reboot, aus und wieder eingeschaltet, aus und eingeschaltet, apagado y encendido",
    ),
    (Verb::Wait, "wait, waited, waits, waiting, gewartet, esperado"),
    (Verb::Nothing, "nothing, did nothing, nothing was done, nobody touched it, touched nothing, nichts, nada"),
    (
        Verb::NotDone,
        "not, didnt, did not, forgot, forgot to, forgotten, never, without, havent, have not, hasnt, nicht, vergessen, no, olvidado",
    ),
    (Verb::Beside, "besides, beside the routine, extra, additionally, apart from the routine, ausserdem, ademas"),
    (Verb::And, "and, then, and then, after that, und, dann, y, luego"),
];

static PHRASES: LazyLock<Phrases<Verb>> = LazyLock::new(|| {
    let mut phrases = Phrases::default();
    for (verb, list) in VERBS {
        list.split(", ").for_each(|phrase| phrases.add(phrase, *verb));
    }
    phrases
});

/// Reads the deeds in order, without their places in the routine.
pub(super) fn parse(machine: &Machine, actions: &[HandAction], text: &str, mistakes: &mut Mistakes) -> Vec<Done> {
    let mut parser = Parser {
        machine,
        actions,
        sentences: actions.iter().map(sentences).collect(),
        things: Things::of(machine),
        text,
        mistakes,
        done: Vec::new(),
    };
    let units = units(text);
    let mut from = 0;
    for (at, unit) in units.iter().enumerate() {
        let behind = units.get(at + 1);
        // Within a number (`T#1.5s`) a point ends nothing.
        let full_stop = unit.text == "." && behind.is_none_or(|behind| behind.after_blank);
        if unit.kind == UnitKind::Line || full_stop || matches!(unit.text.as_str(), "," | ";") {
            parser.part(&units[from..at]);
            from = at + 1;
        }
    }
    parser.part(&units[from..]);
    parser.done
}

struct Parser<'t> {
    machine: &'t Machine,
    actions: &'t [HandAction],
    /// For each action the content words of its sentences.
    sentences: Vec<Vec<Vec<String>>>,
    things: Things<'t>,
    text: &'t str,
    mistakes: &'t mut Mistakes,
    done: Vec<Done>,
}

/// What was found in one part.
#[derive(Debug, Default)]
struct Findings {
    thing: Option<Thing>,
    several: Option<(Range<usize>, Vec<Thing>)>,
    verbs: Vec<Verb>,
    places: Vec<SaidPlace>,
    ms: Option<u64>,
    unknown: Option<Range<usize>>,
}

impl Parser<'_> {
    /// A part between commas: one deed, or several with "and" between them.
    fn part(&mut self, units: &[Unit]) {
        if !units.iter().any(is_word) {
            return;
        }
        if let Some(done) = self.by_sentence(units) {
            self.done.push(done);
            return;
        }
        let mut from = 0;
        let mut at = 0;
        while at < units.len() {
            match PHRASES.longest(units, at, |_| false) {
                Some((count, [Verb::And, ..])) => {
                    self.deed(&units[from..at]);
                    at += count;
                    from = at;
                }
                Some((count, _)) => at += count,
                None => at += 1,
            }
        }
        self.deed(&units[from..]);
    }

    fn deed(&mut self, units: &[Unit]) {
        if !units.iter().any(is_word) {
            return;
        }
        if let Some(done) = self.by_sentence(units) {
            self.done.push(done);
            return;
        }
        let span = trimmed(self.text, units[0].span.start..units[units.len() - 1].span.end);
        let found = self.findings(units);
        if found.verbs.contains(&Verb::NotDone) {
            let hint = "say only what was done; what was forgotten is found by the diagnosis";
            self.mistakes.add(MistakeKind::Unclear, span, "what was not done is no deed", hint);
            return;
        }
        if found.verbs == [Verb::Nothing] && found.thing.is_none() {
            return;
        }
        if found.thing.is_none() && found.several.is_none() {
            return self.without_thing(&found, units, span);
        }
        match self.movement(&found) {
            Some(movement) if found.verbs.contains(&Verb::Beside) => self.done.push(Done::Beside(movement)),
            Some(movement) => {
                // How long the routine presses a button matters only if the text says how long, too.
                let same = |action: &usize| match found.ms {
                    Some(_) => self.actions[*action].movement == movement,
                    None => same_deed(self.actions[*action].movement, movement),
                };
                let actions: Vec<usize> = (0..self.actions.len()).filter(same).collect();
                self.done.push(Done::Action { actions, movement });
            }
            None => {
                if let Some(done) = self.by_some_words(units) {
                    self.done.push(done);
                } else {
                    self.not_understood(&found, span);
                }
            }
        }
    }

    /// "action 2".
    fn numbered(&mut self, units: &[Unit]) -> Option<Done> {
        let [word, number] = units else { return None };
        if !matches!(word.text.as_str(), "action" | "step") || number.kind != UnitKind::Digits {
            return None;
        }
        let action: usize = number.text.parse().ok()?;
        (1..=self.actions.len()).contains(&action).then(|| Done::Numbered(action - 1))
    }

    /// The part is the short form or the words of an action.
    fn by_sentence(&mut self, units: &[Unit]) -> Option<Done> {
        if let Some(done) = self.numbered(units) {
            return Some(done);
        }
        let said = self.content(units);
        let actions: Vec<usize> =
            (0..self.actions.len()).filter(|action| self.sentences[*action].contains(&said)).collect();
        self.if_one_deed(actions)
    }

    /// All words of the part are among the words of actions that do the same.
    fn by_some_words(&mut self, units: &[Unit]) -> Option<Done> {
        let said = self.content(units);
        if said.is_empty() {
            return None;
        }
        let within = |action: &usize| {
            self.sentences[*action].iter().any(|sentence| said.iter().all(|word| sentence.contains(word)))
        };
        let actions: Vec<usize> = (0..self.actions.len()).filter(within).collect();
        self.if_one_deed(actions)
    }

    fn content(&self, units: &[Unit]) -> Vec<String> {
        let words: Vec<String> = units.iter().filter(|unit| is_word(unit)).map(|unit| unit.text.clone()).collect();
        content_of(&words)
    }

    /// These actions, if they all do the same.
    fn if_one_deed(&self, actions: Vec<usize>) -> Option<Done> {
        let movement = self.actions[*actions.first()?].movement;
        let one = actions.iter().all(|action| same_deed(self.actions[*action].movement, movement));
        one.then_some(Done::Action { actions, movement })
    }

    fn findings(&self, units: &[Unit]) -> Findings {
        let mut found = Findings::default();
        let mut at = 0;
        while at < units.len() {
            let name = self.things.longest(units, at);
            let place = self.things.longest_place(units, at);
            let verb = PHRASES.longest(units, at, |_| false);
            let length = |count: Option<usize>| count.unwrap_or(0);
            let named = length(name.as_ref().map(|(count, _)| *count));
            let placed = length(place.as_ref().map(|(count, _)| *count));
            let verbed = length(verb.map(|(count, _)| count));
            // A machine may have a mechanism called "press"; in "press start" it is the verb.
            let first = found.thing.is_none() && found.several.is_none();
            let is_name = named > 0 && named >= placed && named >= verbed && first;
            let another = || (at + named..units.len()).any(|next| self.things.longest(units, next).is_some());
            if is_name && !(verbed == named && another()) {
                match name {
                    Some((_, Found::Thing(thing))) => found.thing = Some(thing),
                    Some((_, Found::Several(things))) => {
                        found.several = Some((units[at].span.start..units[at + named - 1].span.end, things));
                    }
                    None => {}
                }
                at += named;
            } else if placed.max(verbed) > 0 {
                // "opened" is a verb for a supply and a position for a door; which it is depends on the thing.
                if let Some((_, place)) = place.filter(|_| placed >= verbed) {
                    found.places.push(place);
                }
                if let Some((_, verbs)) = verb.filter(|_| verbed >= placed) {
                    found.verbs.extend(verbs.first());
                }
                at += placed.max(verbed);
            } else if let Some((count, ms)) = duration(&units[at..]) {
                found.ms = Some(ms);
                at += count;
            } else if named > 0 {
                // A second thing; the deed is about the first.
                found.unknown.get_or_insert(units[at].span.start..units[at + named - 1].span.end);
                at += named;
            } else {
                let unit = &units[at];
                if is_word(unit)
                    && !says_nothing(&unit.text)
                    && !matches!(unit.text.as_str(), "button" | "for" | "at" | "in" | "by" | "hand" | "with")
                {
                    match &mut found.unknown {
                        Some(span) if span.end + 1 >= unit.span.start => span.end = unit.span.end,
                        Some(_) => {}
                        None => found.unknown = Some(unit.span.clone()),
                    }
                }
                at += 1;
            }
        }
        found
    }

    /// What the hand did to the thing, if that is clear.
    fn movement(&self, found: &Findings) -> Option<HandMove> {
        if found.unknown.is_some() {
            return None;
        }
        let says = |verb: Verb| found.verbs.contains(&verb);
        match found.thing? {
            Thing::Supply(supply) if says(Verb::Off) => Some(HandMove::Supply(supply, false)),
            Thing::Supply(supply) if says(Verb::On) => Some(HandMove::Supply(supply, true)),
            Thing::Supply(_) => None,
            Thing::Mechanism(mechanism) => {
                let row = self.machine.mechanisms.get(mechanism)?;
                let button = row.class == MechanismClass::Button;
                let place = found.places.iter().find_map(|place| self.things.position(mechanism, place));
                match found.ms {
                    Some(ms) if button && !says(Verb::LetGo) => return Some(HandMove::Press(mechanism, ms)),
                    _ => {}
                }
                match place {
                    _ if button && says(Verb::Hold) => Some(HandMove::Hold(mechanism)),
                    _ if button && says(Verb::LetGo) => Some(HandMove::LetGo(mechanism)),
                    Some(0) if button && !says(Verb::Press) => Some(HandMove::LetGo(mechanism)),
                    _ if button => Some(HandMove::Press(mechanism, PRESSED_MS)),
                    Some(position) => Some(HandMove::Put(mechanism, position)),
                    None => self.verb_place(mechanism, found),
                }
            }
        }
    }

    /// "switched the pump on": the verb is the position.
    fn verb_place(&self, mechanism: MechanismId, found: &Findings) -> Option<HandMove> {
        let word = match found.verbs.iter().find(|verb| matches!(verb, Verb::On | Verb::Off | Verb::Press)) {
            Some(Verb::On) => "on",
            Some(Verb::Off) => "off",
            Some(Verb::Press) => "pressed",
            _ => return None,
        };
        let (_, place) = self.things.longest_place(&units(word), 0)?;
        Some(HandMove::Put(mechanism, self.things.position(mechanism, &place)?))
    }

    fn without_thing(&mut self, found: &Findings, units: &[Unit], span: Range<usize>) {
        let says = |verb: Verb| found.verbs.contains(&verb);
        let known = found.unknown.is_none();
        let movement = if known && says(Verb::PowerCycle) {
            Some(HandMove::PowerCycle)
        } else if known && says(Verb::Wait) {
            Some(HandMove::Wait)
        } else {
            None
        };
        match movement {
            Some(movement) if says(Verb::Beside) => self.done.push(Done::Beside(movement)),
            Some(movement) => {
                let actions: Vec<usize> = (0..self.actions.len())
                    .filter(|action| same_deed(self.actions[*action].movement, movement))
                    .collect();
                self.done.push(Done::Action { actions, movement });
            }
            None if known && (says(Verb::PowerOn) || found.verbs == [Verb::On]) => self.done.push(Done::PowerOn),
            None if known && (says(Verb::PowerOff) || found.verbs == [Verb::Off]) => self.mistakes.add(
                MistakeKind::Unclear,
                span,
                "a machine that is off shows nothing",
                "if it was switched on again, say `power cycled`",
            ),
            None => match self.by_some_words(units) {
                Some(done) => self.done.push(done),
                None => self.not_understood(found, span),
            },
        }
    }

    fn not_understood(&mut self, found: &Findings, span: Range<usize>) {
        if !self.mistakes.wanted() {
            return;
        }
        let typed = self.text.get(span.clone()).unwrap_or_default();
        if let Some((place, things)) = &found.several {
            let name = self.text.get(place.clone()).unwrap_or_default();
            return self.things.several(place.clone(), name, things, self.mistakes);
        }
        if let (Some(Thing::Mechanism(mechanism)), None) = (found.thing, &found.unknown) {
            let name = self.things.name(Thing::Mechanism(mechanism));
            let places: Vec<String> =
                self.things.positions(mechanism).iter().map(|place| format!("{name} {place}")).collect();
            self.mistakes.add(
                MistakeKind::Unclear,
                span,
                format!("it is not said what was done to `{name}`"),
                format!("say {}", listed(&places, "or")),
            );
            return;
        }
        if let (Some(Thing::Supply(supply)), None) = (found.thing, &found.unknown) {
            let name = self.things.name(Thing::Supply(supply));
            self.mistakes.add(
                MistakeKind::Unclear,
                span,
                format!("it is not said what was done to `{name}`"),
                format!("say `{name} on` or `{name} off`"),
            );
            return;
        }
        let mut shorts: Vec<&str> = Vec::new();
        for action in self.actions {
            if !shorts.contains(&action.short.as_str()) {
                shorts.push(&action.short);
            }
        }
        let unknown = found.unknown.clone().and_then(|span| self.text.get(span)).unwrap_or_default();
        let near = self.things.like(unknown);
        let hint = if !near.is_empty() {
            format!("did you mean {}?", listed(&near, "or"))
        } else if shorts.is_empty() {
            "the routine has no actions; say `powered on` or `power cycled`".to_owned()
        } else {
            format!("the routine has {}; or say what was moved, as in `door open`", listed(&shorts, "and"))
        };
        let place = found.unknown.clone().unwrap_or(span);
        self.mistakes.add(MistakeKind::NoSuchName, place, format!("it is not clear what was done: `{typed}`"), hint);
    }
}

/// "3 s", "1.5 s", "500 ms", "2 minutes", "T#3s": how many units, and ms.
fn duration(units: &[Unit]) -> Option<(usize, u64)> {
    let iec = matches!(units, [t, hash, ..] if t.text == "t" && hash.text == "#");
    let front = if iec { 2 } else { 0 };
    let (tenths, count) = match units.get(front..)? {
        [whole, point, part, ..] if point.text == "." && part.kind == UnitKind::Digits => {
            (format!("{}.{}", whole.text, part.text), 3)
        }
        [whole, ..] => (whole.text.clone(), 1),
        [] => return None,
    };
    if units[front].kind != UnitKind::Digits {
        return None;
    }
    let per_unit = match units.get(front + count)?.text.as_str() {
        "ms" | "millisecond" | "milliseconds" => 1.0,
        "s" | "sec" | "second" | "seconds" | "sekunde" | "sekunden" | "segundo" | "segundos" => 1000.0,
        "m" | "min" | "minute" | "minutes" | "minuten" | "minutos" => 60_000.0,
        _ => return None,
    };
    // Longer than a day nobody holds anything.
    const LONGEST_MS: f64 = 86_400_000.0;
    let ms = (tenths.parse::<f64>().ok()? * per_unit).round();
    (0.0..=LONGEST_MS).contains(&ms).then_some((front + count + 1, ms as u64))
}
