//! Recent events, from what people say: "it was moved, then the power was cut".

use std::sync::LazyLock;

use machine::model::Event;

use super::mistake::{MistakeKind, Mistakes, ReadingError, listed};
use super::phrase::Phrases;
use super::unit::{UnitKind, units};

/// What each event is called, the first word being the usual one.
const SAID: [(Event, &str); 4] = [
    (
        Event::Moved,
        "moved, relocated, transported, shipped, carried, shifted, set up, set up elsewhere, reinstalled, turned round, verschoben, umgestellt, transportiert, bewegt, movida, trasladada, transportada",
    ),
    (
        Event::Cleaned,
        "cleaned, cleaning, washed, washed down, wash down, washdown, wiped, hosed down, rinsed, gereinigt, geputzt, gewaschen, reinigung, limpiada, lavada, limpieza",
    ),
    (
        Event::Repaired,
        "repaired, repair, serviced, service, maintained, maintenance, worked on, overhauled, parts replaced, part replaced, repariert, gewartet, wartung, reparada, mantenimiento",
    ),
    (
        Event::PowerCut,
        "power cut, power cuts, powercut, power failure, power failed, power outage, outage, blackout, power loss, power lost, lost power, mains failure, mains lost, power was off, lightning, stromausfall, netzausfall, corte de luz, corte de corriente, apagon",
    ),
];

/// Words that may stand around an event and say nothing.
const FILLERS: &[&str] = &[
    "it",
    "was",
    "were",
    "has",
    "had",
    "have",
    "been",
    "the",
    "a",
    "an",
    "there",
    "and",
    "then",
    "machine",
    "recently",
    "just",
    "ago",
    "day",
    "days",
    "week",
    "weeks",
    "last",
    "yesterday",
    "today",
    "before",
    "down",
    "of",
    "in",
    "und",
    "wurde",
    "y",
    "fue",
    "ha",
    "sido",
    "un",
    "una",
];

static PHRASES: LazyLock<Phrases<Event>> = LazyLock::new(|| {
    let mut phrases = Phrases::default();
    for (event, list) in SAID {
        list.split(", ").for_each(|phrase| phrases.add(phrase, event));
    }
    phrases
});

/// An event in the word for people.
///
/// ```
/// use machine::model::Event;
/// assert_eq!(diagnose::reading::event_words(Event::PowerCut), "power cut");
/// ```
#[must_use]
pub fn event_words(event: Event) -> &'static str {
    let said = SAID.iter().find(|(of, _)| *of == event).map_or("", |(_, list)| list);
    said.split(',').next().unwrap_or_default()
}

/// Reads recent events, in any order; each is told once, in the order of [`Event::ALL`].
///
/// ```
/// use diagnose::reading::read_events;
/// use machine::model::Event;
/// assert_eq!(read_events("power cut, and it was moved"), Ok(vec![Event::Moved, Event::PowerCut]));
/// assert_eq!(read_events(""), Ok(Vec::new()));
/// ```
///
/// # Errors
/// A mistake for every stretch of words that names no event.
pub fn read_events(text: &str) -> Result<Vec<Event>, Vec<ReadingError>> {
    let mut mistakes = Mistakes::check_length(text)?;
    let units = units(text);
    let mut found = Vec::new();
    let mut at = 0;
    while at < units.len() {
        if let Some((count, [event, ..])) = PHRASES.longest(&units, at, |unit| FILLERS.contains(&unit)) {
            found.push(*event);
            at += count;
            continue;
        }
        let unknown = |at: usize| {
            let unit = &units[at];
            matches!(unit.kind, UnitKind::Letters | UnitKind::Quoted)
                && !FILLERS.contains(&unit.text.as_str())
                && PHRASES.longest(&units, at, |unit| FILLERS.contains(&unit)).is_none()
        };
        if unknown(at) {
            let begin = units[at].span.start;
            let mut end = units[at].span.end;
            while at + 1 < units.len() && unknown(at + 1) {
                at += 1;
                end = units[at].span.end;
            }
            let names: Vec<&str> = Event::ALL.into_iter().map(event_words).collect();
            mistakes.add(
                MistakeKind::NoSuchName,
                begin..end,
                format!("`{}` is no event that is known", &text[begin..end]),
                format!("name one or more of {}", listed(&names, "and")),
            );
        }
        at += 1;
    }
    mistakes.or(Event::ALL.into_iter().filter(|event| found.contains(event)).collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    #[test]
    fn events_are_read_as_people_say_them() {
        for (text, events) in [
            ("moved", vec![Event::Moved]),
            ("it was moved and there was a power cut", vec![Event::Moved, Event::PowerCut]),
            ("Washed down; serviced", vec![Event::Cleaned, Event::Repaired]),
            ("cleaned, cleaned", vec![Event::Cleaned]),
            ("Stromausfall, gereinigt", vec![Event::Cleaned, Event::PowerCut]),
            (" , ", vec![]),
        ] {
            assert_eq!(read_events(text), Ok(events), "{text}");
        }
    }

    #[test]
    fn an_unknown_event_is_told_with_those_that_are_known() {
        let text = "moved, struck by a meteorite, cleaned";
        let mistakes = read_events(text).unwrap_err();
        assert_eq!(mistakes.len(), 2, "{mistakes:?}");
        assert_eq!(&text[mistakes[0].span.clone()], "struck by");
        assert_eq!(mistakes[0].hint, "name one or more of `moved`, `cleaned`, `repaired` and `power cut`");
    }
}
