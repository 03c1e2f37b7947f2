//! Finding things by name, and hints for names that don't exist.

use super::{Point, Resolver};
use crate::id::{MechanismId, SupplyId};
use crate::source::Span;

/// "did you mean" for a name among candidates; a list of what there is when none is near.
pub(crate) fn nearest_hint<'c>(name: &str, candidates: impl Iterator<Item = &'c str>) -> String {
    let mut ranked: Vec<(f64, &str)> = candidates.map(|candidate| (nearness(name, candidate), candidate)).collect();
    ranked.sort_by(|one, two| two.0.total_cmp(&one.0).then(one.1.cmp(two.1)));
    ranked.dedup_by_key(|(_, candidate)| *candidate);
    let near: Vec<&str> = ranked.iter().take_while(|(near, _)| *near > 0.75).take(3).map(|(_, name)| *name).collect();
    match (near.as_slice(), ranked.is_empty()) {
        ([], true) => "the file has none".to_string(),
        ([], false) => {
            let some: Vec<&str> = ranked.iter().take(8).map(|(_, name)| *name).collect();
            format!("there is: {}", some.join(", "))
        }
        (near, _) => format!("did you mean {}?", near.join(" or ")),
    }
}

/// Longer names are not compared, so that a file of long names can't take long.
const LONGEST_COMPARED: usize = 80;

/// How alike two names are, 0 to 1.
pub(crate) fn nearness(one: &str, two: &str) -> f64 {
    if one.len().max(two.len()) > LONGEST_COMPARED {
        return 0.0;
    }
    strsim::jaro_winkler(&one.to_lowercase(), &two.to_lowercase())
}

/// With more problems than this, hints no longer look for near names: a file that is wrong
/// throughout must not take long.
const MOST_HINTS: usize = 200;

impl Resolver<'_> {
    /// [`nearest_hint`], as long as there are not too many problems already.
    pub fn hint<'c>(&self, name: &str, candidates: impl Iterator<Item = &'c str>) -> String {
        if self.problems.len() > MOST_HINTS { String::new() } else { nearest_hint(name, candidates) }
    }

    pub fn mechanism(&self, name: &str) -> Option<MechanismId> {
        self.mechanism_names.get(name).copied()
    }

    pub fn supply(&self, name: &str) -> Option<SupplyId> {
        self.supply_names.get(name).copied()
    }

    pub fn point(&self, name: &str) -> Option<Point> {
        self.points.get(name).copied()
    }

    /// The mechanism of this name, or a noted mistake.
    pub fn mechanism_or_note(&mut self, name: &str, span: Span) -> Option<MechanismId> {
        let found = self.mechanism(name);
        if found.is_none() {
            let hint = self.hint(name, self.machine.mechanisms.rows().map(|row| row.name.as_str()));
            self.problems.error(span, "unknown-name", format!("there is no mechanism `{name}`"), hint);
        }
        found
    }

    /// The position of this name, or a noted mistake.
    pub fn position_or_note(&mut self, mechanism: MechanismId, name: &str, span: Span) -> Option<u8> {
        let row = &self.machine.mechanisms[mechanism];
        let found = row.positions.iter().position(|position| position == name).and_then(|at| u8::try_from(at).ok());
        if found.is_none() {
            let hint = self.hint(name, row.positions.iter().map(String::as_str));
            let what = format!("`{}` has no position `{name}`", row.name);
            self.problems.error(span, "unknown-position", what, hint);
        }
        found
    }
}
