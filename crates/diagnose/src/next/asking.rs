//! How things are asked of whoever is at the machine, in the languages that the device library has. The German and
//! Spanish here were not reviewed by native speakers.

use super::todo::ToDo;
use crate::evidence::Deed;
use crate::hypothesis::Hypothesis;
use crate::wording::POWER_CYCLE;
use crate::world::World;
use machine::Machine;
use machine::id::RoutineId;
use machine::model::{HandAction, HandMove, Words};

/// Languages besides English.
const OTHERS: [&str; 2] = ["de", "es"];

/// A text with a place `{}` for something that has translations of its own.
fn filled(key: &str, [english, german, spanish]: [&str; 3], with: &Words) -> Words {
    let fill = |text: &str, tag: &str| text.replacen("{}", with.in_language(tag), 1);
    Words {
        key: format!("next.{key}"),
        english: fill(english, "en"),
        translations: OTHERS
            .into_iter()
            .zip([german, spanish])
            .map(|(tag, text)| (tag.to_owned(), fill(text, tag)))
            .collect(),
    }
}

/// Short words for something to do.
pub(crate) fn words_of(machine: &Machine, worlds: &[World], hypotheses: &[Hypothesis], to_do: &ToDo) -> Words {
    if *to_do == ToDo::GoOn
        && let Some(next) = next_action(worlds, hypotheses)
    {
        let texts = [
            "Nothing seems to be wrong: go on. Next is: {}",
            "Es scheint nichts defekt zu sein: weitermachen. Das Nächste ist: {}",
            "No parece haber ningún fallo: siga. Lo siguiente es: {}",
        ];
        return filled("go-on-with", texts, &next.words);
    }
    let place = hypotheses.first().map(|leading| (&worlds[leading.world].machine, leading));
    let place = place.map(|(machine, leading)| (machine, worlds[leading.world].routines[leading.routine].routine));
    in_words(machine, place, to_do)
}

/// What comes next in the routine if nothing is wrong, where that is as good as known.
fn next_action<'w>(worlds: &'w [World], hypotheses: &[Hypothesis]) -> Option<&'w HandAction> {
    /// Share of what is believed of machines with nothing wrong.
    const KNOWN: f64 = 0.9;
    let healthy = || hypotheses.iter().filter(|one| one.deviations.is_empty());
    let action = |one: &Hypothesis| {
        let world = &worlds[one.world];
        world.machine.routines[world.routines[one.routine].routine].actions.get(usize::from(one.stage))
    };
    let likely = healthy().max_by(|one, other| one.weight.total_cmp(&other.weight)).and_then(action)?;
    let all: f64 = healthy().map(|one| one.weight).sum();
    let same = healthy().filter(|one| action(one).is_some_and(|action| action.words == likely.words));
    (same.map(|one| one.weight).sum::<f64>() >= KNOWN * all).then_some(likely)
}

/// How something is asked of whoever does this routine: the same words in which a call asks it.
#[must_use]
pub fn asked(machine: &Machine, routine: RoutineId, to_do: &ToDo) -> Words {
    in_words(machine, Some((machine, routine)), to_do)
}

/// What is done, in words: of an action of this routine its own, of a movement those of an action that makes it.
#[must_use]
pub fn deed_words(machine: &Machine, routine: RoutineId, deed: &Deed) -> Words {
    let action = |index: &usize| machine.routines.get(routine)?.actions.get(*index);
    match deed {
        Deed::Routine(Some(index)) => action(index).map(|action| action.words.clone()).unwrap_or_default(),
        Deed::Routine(None) => {
            filled("power-on", ["switch on", "einschalten", "conectar la máquina"], &Words::default())
        }
        Deed::Extra(_) => act_words(machine, deed),
    }
}

fn in_words(machine: &Machine, place: Option<(&Machine, RoutineId)>, to_do: &ToDo) -> Words {
    let nothing = Words::default();
    match to_do {
        ToDo::Check(check) => machine.checks[*check].operator.clone(),
        ToDo::Lamp(place) => {
            let texts = ["Is lamp {} lit?", "Leuchtet die Lampe {}?", "¿Está encendida la lámpara {}?"];
            filled("lamp", texts, &Words::plain(place.label(machine)))
        }
        ToDo::Lamps => {
            let texts = [
                "Which of the other lamps are lit?",
                "Welche der übrigen Lampen leuchten?",
                "¿Cuáles de las demás lámparas están encendidas?",
            ];
            filled("lamps", texts, &nothing)
        }
        ToDo::Position(mechanism) => {
            let texts = ["Where does it stand: {}?", "In welchem Zustand ist: {}?", "¿En qué estado está: {}?"];
            filled("position", texts, &machine.mechanisms[*mechanism].words)
        }
        ToDo::Act(deed) => {
            let words = match (deed, place) {
                (Deed::Routine(Some(_)), Some((machine, routine))) => deed_words(machine, routine, deed),
                _ => act_words(machine, deed),
            };
            let texts = [
                "Do this: {}. Which lamps change?",
                "Dies tun: {}. Welche Lampen ändern sich?",
                "Haga esto: {}. ¿Qué lámparas cambian?",
            ];
            filled("act", texts, &words)
        }
        ToDo::Remedy(remedy) => machine.remedies[*remedy].words.clone(),
        ToDo::GoOn => {
            let texts = [
                "Nothing seems to be wrong: go on with the next step of the routine",
                "Es scheint nichts defekt zu sein: mit dem nächsten Schritt des Ablaufs weitermachen",
                "No parece haber ningún fallo: siga con el siguiente paso de la rutina",
            ];
            filled("go-on", texts, &nothing)
        }
    }
}

fn act_words(machine: &Machine, deed: &Deed) -> Words {
    let nothing = Words::default();
    let Deed::Extra(movement) = deed else {
        return filled("as-before", ["as before", "wie zuvor", "como antes"], &nothing);
    };
    let mechanism = |id| &machine.mechanisms[id].words;
    match *movement {
        HandMove::PowerCycle => {
            let texts = [
                POWER_CYCLE,
                "die Maschine ausschalten, zehn Sekunden warten, wieder einschalten",
                "apague la máquina, espere diez segundos y vuelva a encenderla",
            ];
            filled("power-cycle", texts, &nothing)
        }
        HandMove::Press(id, _) => filled("press", ["press {}", "{} drücken", "pulse: {}"], mechanism(id)),
        HandMove::Hold(id) => filled("hold", ["hold {}", "{} gedrückt halten", "mantenga pulsado {}"], mechanism(id)),
        HandMove::LetGo(id) => filled("let-go", ["let go of {}", "{} loslassen", "suelte {}"], mechanism(id)),
        HandMove::Wait => filled("wait", ["wait", "warten", "esperar"], &nothing),
        HandMove::Supply(id, true) => {
            filled("supply-on", ["turn on {}", "{} einschalten", "abra {}"], &machine.supplies[id].words)
        }
        HandMove::Supply(id, false) => {
            filled("supply-off", ["turn off {}", "{} ausschalten", "cierre {}"], &machine.supplies[id].words)
        }
        HandMove::Put(id, position) => {
            let mut actions = machine.routines.rows().flat_map(|routine| &routine.actions);
            if let Some(action) = actions.find(|action| action.movement == *movement) {
                return action.words.clone();
            }
            let row = &machine.mechanisms[id];
            let place = row.position_words.get(usize::from(position)).cloned().unwrap_or_default();
            let put = filled("put", ["{}: ", "{}: ", "{}: "], &row.words);
            joined(&put, &place)
        }
    }
}

/// Two texts one behind the other, in each language.
fn joined(first: &Words, second: &Words) -> Words {
    let both = |tag: &str| format!("{}{}", first.in_language(tag), second.in_language(tag));
    Words {
        key: first.key.clone(),
        english: both("en"),
        translations: OTHERS.into_iter().map(|tag| (tag.to_owned(), both(tag))).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_filled_in_the_language_of_the_text() {
        let lift = Words {
            english: "lift".to_owned(),
            translations: vec![("de".to_owned(), "Hub".to_owned())],
            ..Words::default()
        };
        let asked = filled("position", ["Where: {}?", "Wo: {}?", "¿Dónde: {}?"], &lift);
        assert_eq!(asked.english, "Where: lift?");
        assert_eq!(asked.in_language("de"), "Wo: Hub?");
        // What has no translation stays English.
        assert_eq!(asked.in_language("es"), "¿Dónde: lift?");
    }
}
