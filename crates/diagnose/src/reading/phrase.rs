//! A list of phrases in which the longest one that begins at a place of the
//! text is found in one walk. Lamp labels, the words of points and the words
//! of the language are all looked up this way.

use std::collections::BTreeMap;

use super::unit::{Unit, UnitKind, key};

/// Phrases with what they mean; one phrase may mean several things.
#[derive(Clone, Debug)]
pub(super) struct Phrases<M> {
    nodes: Vec<Node<M>>,
}

#[derive(Clone, Debug)]
struct Node<M> {
    next: BTreeMap<String, usize>,
    meanings: Vec<M>,
}

impl<M> Default for Phrases<M> {
    fn default() -> Self {
        Self { nodes: vec![Node { next: BTreeMap::new(), meanings: Vec::new() }] }
    }
}

/// How many filler words may stand inside a phrase ("the lift *is* up").
const FILLERS_INSIDE: usize = 3;

impl<M: PartialEq> Phrases<M> {
    /// Adds a phrase; one without units is left out.
    pub fn add(&mut self, phrase: &str, meaning: M) {
        self.add_key(key(phrase), meaning);
    }

    /// Adds a phrase by its units.
    pub fn add_key(&mut self, units: Vec<String>, meaning: M) {
        if units.is_empty() {
            return;
        }
        let mut at = 0;
        for unit in units {
            let fresh = self.nodes.len();
            at = *self.nodes[at].next.entry(unit).or_insert(fresh);
            if at == fresh {
                self.nodes.push(Node { next: BTreeMap::new(), meanings: Vec::new() });
            }
        }
        let meanings = &mut self.nodes[at].meanings;
        if !meanings.contains(&meaning) {
            meanings.push(meaning);
        }
    }

    /// What exactly this phrase means; empty if it is none of the list.
    pub fn get<'u>(&self, units: impl IntoIterator<Item = &'u str>) -> &[M] {
        let mut at = 0;
        for unit in units {
            match self.nodes[at].next.get(unit) {
                Some(next) => at = *next,
                None => return &[],
            }
        }
        &self.nodes[at].meanings
    }

    /// The longest phrase that begins at this unit: how many units it takes, and its
    /// meanings. Units for which `filler` holds may stand inside a phrase that has none there.
    pub fn longest(&self, units: &[Unit], from: usize, filler: impl Fn(&str) -> bool) -> Option<(usize, &[M])> {
        let mut best = None;
        let mut at = 0;
        let mut fillers = 0;
        for (count, unit) in units.get(from..)?.iter().enumerate() {
            if matches!(unit.kind, UnitKind::Line | UnitKind::Quoted) {
                break;
            }
            match self.nodes[at].next.get(&unit.text) {
                Some(next) => {
                    at = *next;
                    if !self.nodes[at].meanings.is_empty() {
                        best = Some((count + 1, at));
                    }
                }
                None if count > 0 && fillers < FILLERS_INSIDE && filler(&unit.text) => fillers += 1,
                None => break,
            }
        }
        best.map(|(count, at)| (count, self.nodes[at].meanings.as_slice()))
    }
}

#[cfg(test)]
mod tests {
    use super::super::unit::units;
    use super::*;

    #[test]
    fn the_longest_phrase_wins() {
        let mut phrases = Phrases::default();
        phrases.add("door", 1);
        phrases.add("door shut", 2);
        let text = units("door is shut now");
        assert_eq!(phrases.longest(&text, 0, |unit| unit == "is"), Some((3, [2].as_slice())));
        assert_eq!(phrases.longest(&text, 0, |_| false), Some((1, [1].as_slice())));
        assert_eq!(phrases.longest(&text, 1, |_| false), None);
        assert_eq!(phrases.get(["door", "shut"]), [2]);
        assert!(phrases.get(["shut"]).is_empty());
    }
}
