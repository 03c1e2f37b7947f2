//! What is said where the file gives no words: put together from the names of what it is about, in every language in
//! which the library has the words between them. A name without a translation stands there as the file has it.

use super::Resolver;
use crate::condition::Condition;
use crate::id::{MechanismId, OutputId};
use crate::library::Filling;
use crate::model::{HandMove, ProgramFact, Words, WorldFact};

impl Resolver<'_> {
    /// A text with the file's translations of it, and where there is none, that of what it is put together from.
    pub fn words_or(&self, key: &str, english: &str, general: Words) -> Words {
        let mut words = self.translations.words(key, english, &Filling::default());
        for (language, text) in general.translations {
            if words.translations.iter().all(|(known, _)| *known != language) {
                words.translations.push((language, text));
            }
        }
        words.translations.sort();
        words
    }

    /// A text of the library with its places filled.
    fn filled<const N: usize>(&self, key: &str, english: &str, places: [(&'static str, Words); N]) -> Words {
        let filling = places.into_iter().fold(Filling::default(), |all, (name, words)| all.with_words(name, words));
        self.translations.words(key, english, &filling)
    }

    /// Several texts as one.
    fn all_of(&self, texts: impl IntoIterator<Item = Words>) -> Option<Words> {
        texts
            .into_iter()
            .reduce(|one, other| self.filled("implied.and", "{words} and {other}", [("words", one), ("other", other)]))
    }

    /// "Table is filling": where a mechanism stands.
    pub fn stands(&self, mechanism: MechanismId, at: u8) -> Words {
        let Some(row) = self.machine.mechanisms.get(mechanism) else { return Words::default() };
        let position = row.position_words.get(usize::from(at)).cloned().unwrap_or_default();
        self.filled("implied.stands", "{words} is {position}", [("words", row.words.clone()), ("position", position)])
    }

    /// What is so when this holds; none for what is no plain list of facts, such as a choice.
    pub fn world_words(&self, condition: &Condition<WorldFact>) -> Option<Words> {
        match condition {
            Condition::Fact(WorldFact::At(mechanism, at)) => Some(self.stands(*mechanism, *at)),
            Condition::Fact(WorldFact::Between(mechanism)) => {
                let words = self.machine.mechanisms.get(*mechanism)?.words.clone();
                let position = self.between();
                Some(self.filled("implied.stands", "{words} is {position}", [("words", words), ("position", position)]))
            }
            Condition::Fact(WorldFact::Supply(supply)) => Some(self.machine.supplies.get(*supply)?.words.clone()),
            Condition::Fact(WorldFact::Driven(output)) => Some(self.machine.outputs.get(*output)?.words.clone()),
            // Of several things together it would be unclear which of them is not so.
            Condition::Not(inner) if matches!(**inner, Condition::Fact(_)) => Some(self.not(self.world_words(inner)?)),
            Condition::All(list) => {
                let parts: Option<Vec<Words>> = list.iter().map(|part| self.world_words(part)).collect();
                self.all_of(parts?)
            }
            Condition::Not(_) | Condition::Any(_) | Condition::Always(_) => None,
        }
    }

    /// The opposite of a text.
    pub fn not(&self, words: Words) -> Words {
        self.filled("implied.not", "not {words}", [("words", words)])
    }

    /// Between the positions.
    pub fn between(&self) -> Words {
        self.translations.words("positions.between", "between", &Filling::default())
    }

    /// The tag of an output as it stands in texts: an output that is only implied has a name instead.
    pub fn tag_words(&self, output: OutputId) -> Words {
        let row = &self.machine.outputs[output];
        match row.label {
            Some(_) => Words::plain(&row.tag),
            None => self.words_or(
                "",
                &row.tag,
                self.filled("implied.output", "{words} (output)", [("words", row.words.clone())]),
            ),
        }
    }

    /// A permissive in the words of its inputs.
    pub fn permissive_words(&self, need: &Condition<ProgramFact>) -> Words {
        let inputs = need.facts().into_iter().filter_map(|fact| match fact {
            ProgramFact::Input(input) => Some(self.machine.inputs[*input].words.clone()),
            _ => None,
        });
        self.all_of(inputs).unwrap_or_default()
    }

    /// That something must go on to hold while a chart runs.
    pub fn must_hold(&self, words: Words) -> Words {
        self.filled("implied.must-hold", "{words} must hold", [("words", words)])
    }

    /// What a hand does, in the imperative; `short` is the writer's short form of it.
    pub fn hand_words(&self, movement: HandMove, short: &str) -> Words {
        let mechanism = |id: MechanismId| self.machine.mechanisms[id].words.clone();
        match movement {
            HandMove::Put(id, at) => {
                let position = self.machine.mechanisms[id].position_words.get(usize::from(at));
                let position = position.cloned().unwrap_or_default();
                let places = [("words", mechanism(id)), ("position", position)];
                self.filled("implied.put", "{words} to \"{position}\"", places)
            }
            HandMove::Press(id, _) => self.filled("implied.press", "press {words}", [("words", mechanism(id))]),
            HandMove::Hold(id) => self.filled("implied.hold", "hold {words} down", [("words", mechanism(id))]),
            HandMove::LetGo(id) => self.filled("implied.let-go", "let go of {words}", [("words", mechanism(id))]),
            HandMove::Supply(supply, on) => {
                let words = self.machine.supplies[supply].words.clone();
                match on {
                    true => self.filled("implied.turn-on", "turn on {words}", [("words", words)]),
                    false => self.filled("implied.turn-off", "turn off {words}", [("words", words)]),
                }
            }
            HandMove::PowerCycle => {
                self.filled("implied.power-cycle", "switch the power off, wait ten seconds, and on again", [])
            }
            HandMove::Wait => Words::plain(super::humanised(short)),
        }
    }
}
