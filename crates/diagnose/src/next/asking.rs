//! How things are asked of whoever is at the machine, in the languages that the device library has. The German and
//! Spanish here were not reviewed by native speakers.

use super::todo::ToDo;
use crate::evidence::Deed;
use crate::hypothesis::Hypothesis;
use crate::wording::POWER_CYCLE;
use crate::world::World;
use machine::Machine;
use machine::model::{HandMove, Words};

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
pub(crate) fn words_of(machine: &Machine, worlds: &[World], leading: Option<&Hypothesis>, to_do: &ToDo) -> Words {
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
            let texts = ["Where does it stand: {}?", "Wo steht: {}?", "¿Dónde está: {}?"];
            filled("position", texts, &machine.mechanisms[*mechanism].words)
        }
        ToDo::Act(deed) => {
            let action = match (deed, leading) {
                (Deed::Routine(Some(index)), Some(leading)) => {
                    let world = &worlds[leading.world];
                    world.machine.routines[world.routines[leading.routine].routine].actions.get(*index).cloned()
                }
                _ => None,
            };
            let words = action.map_or_else(|| act_words(machine, deed), |action| action.words);
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
    match deed {
        Deed::Extra(HandMove::PowerCycle) => {
            let texts = [
                POWER_CYCLE,
                "die Maschine ausschalten, zehn Sekunden warten, wieder einschalten",
                "apague la máquina, espere diez segundos y vuelva a encenderla",
            ];
            filled("power-cycle", texts, &nothing)
        }
        Deed::Extra(HandMove::Press(mechanism, _)) => {
            filled("press", ["press {}", "{} drücken", "pulse {}"], &machine.mechanisms[*mechanism].words)
        }
        _ => filled("as-before", ["as before", "wie zuvor", "como antes"], &nothing),
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
