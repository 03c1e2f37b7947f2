//! The answers to "which lamps are lit?" on paper: the lamps that are lit with most of them are said once above, so that
//! each line holds only what tells it from these.

use diagnose::evidence::{LampPlace, LampState};
use diagnose::next::{Step, ToDo};
use diagnose::reading::read_lamps;
use machine::Machine;

use crate::desk::Desk;
use crate::document::Span;
use crate::lamp_list;
use crate::language::Label;

const COMMON: Label = Label::new(
    "The usual ones: {}. Below: + lit beside the usual ones, − usual but dark; all others dark.",
    "Die üblichen: {}. Unten: + leuchtet neben den üblichen, − üblich, aber dunkel; alle anderen dunkel.",
    "Las habituales: {}. Abajo: + encendida además de las habituales, − habitual pero apagada; las demás, apagadas.",
);
const NOT_NAMED: Label = Label::new(
    "Lamps that are not named are dark.",
    "Nicht genannte Lampen sind dunkel.",
    "Las lámparas no nombradas están apagadas.",
);
const JUST_USUAL: Label = Label::new("just the usual ones", "nur die üblichen", "solo las habituales");
const ONLY: Label = Label::new("only {}", "nur {}", "solo {}");
const FLICKER: Label = Label::new("flickering: {}", "blinkt: {}", "parpadea: {}");
const ALL_DARK: Label = Label::new("all dark", "alle dunkel", "todas apagadas");

/// Usual lamps are only worth a line of their own if they are so many.
const WORTH: usize = 3;

/// The answers of one question.
pub(super) struct LampAnswers {
    /// By branch, how each lamp is; none for an answer that names no lamps.
    states: Vec<Option<Vec<LampState>>>,
    /// Lamps that are lit with most of the answers with which any is.
    usual: Vec<bool>,
}

impl LampAnswers {
    /// The answers of a step that asks which lamps are lit; `None` for any other step.
    pub fn of(machine: &Machine, step: &Step) -> Option<Self> {
        if step.to_do != ToDo::Lamps {
            return None;
        }
        let states: Vec<Option<Vec<LampState>>> =
            step.branches.iter().map(|branch| states(machine, &branch.key)).collect();
        let lit: Vec<&Vec<LampState>> =
            states.iter().flatten().filter(|states| states.contains(&LampState::Lit)).collect();
        let lamps = lit.first().map_or(0, |states| states.len());
        let often = |lamp: usize| lit.iter().filter(|states| states[lamp] == LampState::Lit).count();
        let mut usual: Vec<bool> = (0..lamps).map(|lamp| 2 * often(lamp) > lit.len()).collect();
        if lit.len() < 2 || usual.iter().filter(|usual| **usual).count() < WORTH {
            usual.fill(false);
        }
        Some(Self { states, usual })
    }

    /// What is said once, above the answers.
    pub fn above(&self, desk: &Desk<'_>) -> Span {
        let language = desk.language();
        if !self.usual.contains(&true) {
            return Span::plain(format!(" {}", NOT_NAMED.of(language)));
        }
        let usual = lamp_list::named(desk.machine(), |lamp| self.is_usual(lamp));
        Span::plain(format!(" {}", COMMON.fill(language, &[&usual])))
    }

    /// An answer by its number; `None` if it names no lamps.
    pub fn answer(&self, desk: &Desk<'_>, branch: usize) -> Option<String> {
        let language = desk.language();
        let states = self.states.get(branch)?.as_ref()?;
        let is = |lamp: usize, wanted: LampState| states.get(lamp) == Some(&wanted);
        let named = |wanted: &dyn Fn(usize) -> bool| lamp_list::named(desk.machine(), wanted);
        let lit = named(&|lamp| is(lamp, LampState::Lit));
        let mut parts = Vec::new();
        if self.usual.contains(&true) && !lit.is_empty() {
            let more = named(&|lamp| is(lamp, LampState::Lit) && !self.is_usual(lamp));
            let less = named(&|lamp| is(lamp, LampState::Dark) && self.is_usual(lamp));
            let signed = [("+", more), ("−", less)].into_iter().filter(|(_, lamps)| !lamps.is_empty());
            let signed: Vec<String> = signed.map(|(sign, lamps)| format!("{sign} {lamps}")).collect();
            let only = ONLY.fill(language, &[&lit]);
            parts.push(match signed.join(" ") {
                same if same.is_empty() => JUST_USUAL.of(language).to_owned(),
                signed if signed.chars().count() <= only.chars().count() => signed,
                _ => only,
            });
        } else if !lit.is_empty() {
            parts.push(lit);
        }
        let flickers = named(&|lamp| is(lamp, LampState::Flickers));
        if !flickers.is_empty() {
            parts.push(FLICKER.fill(language, &[&flickers]));
        }
        if parts.is_empty() {
            parts.push(ALL_DARK.of(language).to_owned());
        }
        Some(parts.join("; "))
    }

    fn is_usual(&self, lamp: usize) -> bool {
        self.usual.get(lamp).copied().unwrap_or(false)
    }
}

/// How each lamp is by the key of an answer, which is what could be typed instead.
fn states(machine: &Machine, key: &str) -> Option<Vec<LampState>> {
    if matches!(key, "other" | "rare") {
        return None;
    }
    let reports = read_lamps(machine, key).ok()?;
    let places = LampPlace::all(machine).map(|(place, _)| place);
    let state = |place| reports.iter().find(|report| report.place == place).map_or(LampState::Dark, |one| one.state);
    Some(places.map(state).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::language::Language;

    #[test]
    fn an_answer_is_told_by_what_differs_from_the_usual_lamps_and_stays_exact() {
        let text = include_str!("../../../../demos/minimal.toml");
        let reading = machine::read(machine::Source::new("minimal.toml", text), &[]);
        let resolved = reading.resolve(&machine::Choice::default());
        let Some(desk) = Desk::new(&resolved.alternatives, "minimal.toml", None, Language::English) else { return };
        let lamps = LampPlace::all(desk.machine()).count();
        let states = |lit: &[usize], flickers: &[usize]| {
            let state = |lamp: usize| match lamp {
                lamp if lit.contains(&lamp) => LampState::Lit,
                lamp if flickers.contains(&lamp) => LampState::Flickers,
                _ => LampState::Dark,
            };
            Some((0..lamps).map(state).collect::<Vec<_>>())
        };
        let usual = (0..lamps).map(|lamp| [0, 3, 4, 5].contains(&lamp)).collect();
        let all = [
            states(&[0, 3, 4, 5], &[]),
            states(&[0, 3, 4, 5, 7], &[9]),
            states(&[3, 4, 5, 1], &[]),
            states(&[8], &[]),
            states(&[], &[]),
            None,
        ];
        let answers = LampAnswers { states: all.to_vec(), usual };
        let told: Vec<Option<String>> = (0..all.len()).map(|branch| answers.answer(&desk, branch)).collect();
        let told: Vec<Option<&str>> = told.iter().map(Option::as_deref).collect();
        assert_eq!(
            told,
            [
                Some("just the usual ones"),
                Some("+ I8; flickering: I10"),
                Some("+ I2 − I1"),
                Some("only I9"),
                Some("all dark"),
                None
            ]
        );
        assert!(answers.above(&desk).text.contains("I1 I4–I6"));
    }
}
