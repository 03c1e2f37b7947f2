//! Remedies that were tried, by their keys: "B1/replace, F3 replace".

use std::ops::Range;

use machine::Machine;
use machine::id::RemedyId;

use super::mistake::{MistakeKind, Mistakes, ReadingError, listed};
use super::nearest::{nearest, of_same_beginning};
use super::phrase::Phrases;
use super::things::{bare_key, is_article, is_word};
use super::unit::{Unit, UnitKind, units};

/// Reads remedies, separated by commas, semicolons or lines. A remedy is called by its key
/// (`B1/replace`, also `B1 replace`) or by its words.
///
/// # Errors
/// Every mistake of the text: remedies that the machine does not have, or that are not clear.
pub fn read_remedies(machine: &Machine, text: &str) -> Result<Vec<RemedyId>, Vec<ReadingError>> {
    let mut mistakes = Mistakes::check_length(text)?;
    let mut names: Phrases<RemedyId> = Phrases::default();
    for (id, remedy) in machine.remedies.iter() {
        names.add_key(bare_key(&remedy.key), id);
        names.add_key(bare_key(&remedy.words.english), id);
    }
    let mut remedies = Vec::new();
    let ends = |unit: &Unit| unit.kind == UnitKind::Line || matches!(unit.text.as_str(), "," | ";");
    for part in units(text).split(ends) {
        let words: Vec<Unit> = part.iter().filter(|unit| is_word(unit)).cloned().collect();
        let (Some(first), Some(last)) = (words.first(), words.last()) else { continue };
        let span = first.span.start..last.span.end;
        match names.longest(&words, 0, is_article) {
            Some((count, [one])) if count == words.len() => {
                if !remedies.contains(one) {
                    remedies.push(*one);
                }
            }
            Some((count, several)) if count == words.len() => {
                let keys: Vec<&str> =
                    several.iter().take(8).map(|remedy| machine.remedies[*remedy].key.as_str()).collect();
                mistakes.add(
                    MistakeKind::SeveralOfThatName,
                    span.clone(),
                    format!("`{}` can be more than one remedy", text.get(span).unwrap_or_default()),
                    format!("say which: {}", listed(&keys, "or")),
                );
            }
            _ => unknown(machine, text, span, &mut mistakes),
        }
    }
    mistakes.or(remedies)
}

fn unknown(machine: &Machine, text: &str, span: Range<usize>, mistakes: &mut Mistakes) {
    if !mistakes.wanted() {
        return;
    }
    let typed = text.get(span.clone()).unwrap_or_default();
    let keys = || machine.remedies.rows().map(|remedy| remedy.key.as_str());
    let mut near = nearest(typed, keys(), 3);
    if near.is_empty() {
        // It may name the device rightly, and what of it wrongly.
        near = of_same_beginning(&bare_key(typed), keys().map(|key| (key, bare_key(key))), 4);
    }
    let hint = if near.is_empty() {
        "write it as `DEVICE/REMEDY`, such as those behind the causes of an answer".to_owned()
    } else {
        format!("did you mean {}?", listed(&near, "or"))
    };
    mistakes.add(MistakeKind::NoSuchName, span, format!("there is no remedy `{typed}`"), hint);
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    fn jar_capper() -> Machine {
        machine::load_str("minimal.toml", include_str!("../../../../demos/minimal.toml")).expect("a good file")
    }

    #[test]
    fn every_remedy_is_found_by_its_key() {
        let machine = jar_capper();
        assert!(!machine.remedies.is_empty());
        for (id, remedy) in machine.remedies.iter() {
            assert_eq!(read_remedies(&machine, &remedy.key).as_deref(), Ok([id].as_slice()), "{}", remedy.key);
        }
    }

    #[test]
    fn an_unknown_remedy_names_those_of_the_same_device() {
        let machine = jar_capper();
        let mistakes = read_remedies(&machine, "I8 polish").unwrap_err();
        assert_eq!(mistakes[0].kind, MistakeKind::NoSuchName);
        assert!(mistakes[0].hint.contains("I8/"), "{}", mistakes[0].hint);
        assert_eq!(read_remedies(&machine, " , ;").as_deref(), Ok([].as_slice()));
    }
}
