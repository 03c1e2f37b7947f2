//! Short words that mean something by what was asked: "dunno", "as before", "nope". The German and Spanish words were not
//! reviewed by native speakers.

use super::entry::Kind;

const NOT_KNOWN: &str = "?, don't know, dont know, do not know, i don't know, i dont know, i do not know, dunno, \
     i dunno, idk, not known, unknown, no idea, no clue, not sure, nobody knows, skip, pass, skip it, skip this, \
     weiß nicht, weiss nicht, keine ahnung, unbekannt, weiter, no sé, no se, ni idea, no sabe, saltar";
const CANNOT: &str = "can't, cant, can not, cannot, can't do that, cant do that, cannot do that, can't do it, not possible, \
     impossible, nobody can, nobody can do that, geht nicht, nicht möglich, kann ich nicht, no puedo, imposible";
const AS_BEFORE: &str = "as before, like before, same as before, the same as before, same, the same, still the same, \
     all the same, same again, still, unchanged, no change, no changes, not changed, nothing changed, nothing changes, \
     nothing has changed, wie zuvor, wie vorher, wie bisher, gleich, das gleiche, dasselbe, unverändert, immer noch, \
     como antes, igual, igual que antes, lo mismo, sin cambios";
const NONE: &str = "none, none of them, none are, no, n, nope, nothing, no others, nothing else, no lamp, no lamps, zero, \
     keine, nichts, nein, ninguna, nada";
const ALL_DARK: &str = "dark, all dark, all are dark, off, all off, all are off, dunkel, alle dunkel, aus, alle aus, \
     apagadas, todas apagadas";
const YES: &str = "y, yes, yep, yeah, yup, sure, true, runs, it runs, runs again, it runs again, again, it does, works, \
     it works, running, it is running, ja, j, läuft, läuft wieder, sie läuft, sie läuft wieder, si, sí, funciona";
const NO: &str = "n, no, nope, nah, false, not, still not, still no, it does not, it doesn't, it doesnt, doesn't run, \
     does not run, it does not run, it doesn't run, nein, läuft nicht, sie läuft nicht, no funciona";

/// A short answer without blanks, dots and exclamation marks around it.
pub(super) fn bare(text: &str) -> &str {
    text.trim().trim_end_matches(['.', '!', '…']).trim_end()
}

fn is_one_of(list: &str, text: &str) -> bool {
    let said = bare(text).to_lowercase().replace('’', "'");
    list.split(", ").any(|one| one == said)
}

/// Whether this says that something is left out: [`Kind::Unknown`] where nobody knows, [`Kind::Cannot`] where nobody can do it.
///
/// ```
/// use diagnose::call::{Kind, leaves_out};
/// assert_eq!(leaves_out("Dunno."), Some(Kind::Unknown));
/// assert_eq!(leaves_out("can’t do that"), Some(Kind::Cannot));
/// assert_eq!(leaves_out("X3 off"), None);
/// ```
#[must_use]
pub fn leaves_out(text: &str) -> Option<Kind> {
    if is_one_of(NOT_KNOWN, text) {
        return Some(Kind::Unknown);
    }
    is_one_of(CANNOT, text).then_some(Kind::Cannot)
}

/// Whether this says that something is as it was before.
#[must_use]
pub fn is_as_before(text: &str) -> bool {
    is_one_of(AS_BEFORE, text)
}

/// Whether this says that it runs, or that it does not.
///
/// ```
/// use diagnose::call::says_it_runs;
/// assert_eq!(says_it_runs("Yes."), Some(true));
/// assert_eq!(says_it_runs("as before"), Some(false));
/// assert_eq!(says_it_runs("lit"), None);
/// ```
#[must_use]
pub fn says_it_runs(text: &str) -> Option<bool> {
    yes_or_no(text).or_else(|| is_as_before(text).then_some(false))
}

/// Whether this says that there is none of what was asked for.
pub(super) fn is_none(text: &str) -> bool {
    is_one_of(NONE, text)
}

/// Whether this says that no lamp is lit, where it was asked which are.
pub(super) fn is_dark(text: &str) -> bool {
    is_none(text) || is_one_of(ALL_DARK, text)
}

/// Yes or no as people say it.
pub(super) fn yes_or_no(text: &str) -> Option<bool> {
    if is_one_of(YES, text) {
        return Some(true);
    }
    is_one_of(NO, text).then_some(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_means_two_of_what_excludes_each_other() {
        let lists = [NOT_KNOWN, CANNOT, AS_BEFORE, YES, NO];
        for (at, list) in lists.iter().enumerate() {
            for word in list.split(", ") {
                assert_eq!(bare(word).to_lowercase(), word, "it would never be found");
                let others = lists.iter().enumerate().filter(|(other, _)| *other != at);
                assert!(others.into_iter().all(|(_, list)| !is_one_of(list, word)), "{word}");
            }
        }
        assert!(is_as_before(" The SAME... ") && is_none("None.") && yes_or_no("NOPE!") == Some(false));
    }
}
