//! Where sheets are made: the machine, the language, and what is worked out only once however many
//! sheets need it.

use std::sync::{Arc, OnceLock};

use diagnose::evidence::Evidence;
use diagnose::panel::Panel;
use diagnose::pattern::Opening;
use diagnose::{Diagnoser, NoShelf, Shelf};
use machine::id::{Id, RoutineId};
use machine::model::Words;
use machine::{Alternative, Machine};
use sim::{Cause, Limits, Plant, Playback, Situation, play};

use crate::head::Head;
use crate::language::Language;
use crate::phrase;
use crate::sheets::COMPLAINTS;

/// A machine for which sheets are made.
pub struct Desk<'a> {
    alternatives: &'a [Alternative],
    machine: &'a Machine,
    language: Language,
    head: Head,
    nominal: OnceLock<Nominal>,
    diagnoser: OnceLock<Diagnoser>,
    openings: OnceLock<Vec<Opening>>,
    /// Where the machine may be worked out already.
    shelf: Arc<dyn Shelf>,
}

/// The nominal run: the first routine on a healthy machine.
pub(crate) struct Nominal {
    pub plant: Plant,
    pub panel: Panel,
    pub playback: Playback,
}

impl<'a> Desk<'a> {
    /// A desk for the alternatives of one machine file, the first of which names things. `file` is the
    /// file's name without folders. `None` if there is no alternative.
    ///
    /// ```
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// use paper::{Desk, Language, Request};
    /// let text = r#"
    /// format = 1
    /// [machine]
    /// name = "Press"
    /// [inputs]
    /// X1 = { lit = "start = pressed" }
    /// X2 = { lit = "ram = up" }
    /// X3 = { lit = "ram = down" }
    /// [charts.press]
    /// start = "start = pressed"
    /// needs = ["ram = up"]
    /// [charts.press.steps]
    /// lower = "do ram down until ram = down"
    /// raise = "do ram up until ram = up"
    /// "#;
    /// let reading = machine::read(machine::Source::new("press.toml", text), &[]);
    /// let resolved = reading.resolve(&machine::Choice::default());
    /// let desk = Desk::new(&resolved.alternatives, "press.toml", None, Language::German).ok_or("no machine")?;
    /// let sheet = &desk.sheets(&Request::Lamps, paper::PageSize::A4)?[0];
    /// assert_eq!(sheet.title, "Lampenblatt");
    /// # Ok(())
    /// # }
    /// ```
    #[must_use]
    pub fn new(alternatives: &'a [Alternative], file: &str, serial: Option<u64>, language: Language) -> Option<Self> {
        let machine = &alternatives.first()?.machine;
        let head = Head::new(machine, file, serial, language);
        let (nominal, diagnoser, openings) = Default::default();
        Some(Self { alternatives, machine, language, head, nominal, diagnoser, openings, shelf: Arc::new(NoShelf) })
    }

    /// The same, where what is worked out is taken up from a shelf, and laid by there.
    #[must_use]
    pub fn with_shelf(self, shelf: Arc<dyn Shelf>) -> Self {
        Self { shelf, ..self }
    }

    pub(crate) fn shelf(&self) -> &Arc<dyn Shelf> {
        &self.shelf
    }

    /// The machine.
    #[must_use]
    pub fn machine(&self) -> &'a Machine {
        self.machine
    }

    /// What every sheet carries.
    #[must_use]
    pub fn head(&self) -> &Head {
        &self.head
    }

    pub(crate) fn alternatives(&self) -> &'a [Alternative] {
        self.alternatives
    }

    pub(crate) fn language(&self) -> Language {
        self.language
    }

    /// A text in the language of the sheets; its stand-in where it is empty.
    pub(crate) fn words<'w>(&self, words: &'w Words, stand_in: &'w str) -> &'w str {
        phrase::words(words, stand_in, self.language)
    }

    pub(crate) fn nominal(&self) -> &Nominal {
        self.nominal.get_or_init(|| {
            let plant = Plant::new(self.machine);
            let playback = play(self.machine, &plant, RoutineId::new(0), &[], Limits::default(), None);
            Nominal { panel: Panel::new(self.machine), plant, playback }
        })
    }

    pub(crate) fn diagnoser(&self) -> &Diagnoser {
        self.diagnoser.get_or_init(|| {
            let circumstances = Evidence::default().circumstances();
            let options = sim::Options::default();
            Diagnoser::from_shelf(self.alternatives.to_vec(), &circumstances, &options, &*self.shelf)
        })
    }

    /// What every complaint says by itself, in the order of [`COMPLAINTS`].
    pub(crate) fn openings(&self) -> &[Opening] {
        self.openings.get_or_init(|| Opening::of(self.diagnoser(), &COMPLAINTS.map(|(complaint, _)| complaint)))
    }
}

impl Nominal {
    /// At rest after power-on, before any hand has done anything.
    pub fn idle(&self) -> Option<&Situation> {
        let instants = &self.playback.instants;
        let first = instants.iter().position(|one| matches!(one.cause, Cause::Hand(_) | Cause::LeftOut(_)));
        let at = first.unwrap_or(instants.len()).checked_sub(1)?;
        instants.get(at).map(|one| &one.situation)
    }

    /// Just before the hand acts that sets the sequence going; none if nothing does.
    pub fn ready(&self, machine: &Machine) -> Option<&Situation> {
        let instants = &self.playback.instants;
        let layout = self.plant.layout();
        let runs = |situation: &Situation| {
            let initial = |step| machine.charts[machine.chart_of(step)].initial.contains(&step);
            machine.steps.ids().any(|step| !initial(step) && situation.on(layout.step(step)))
        };
        let begins = instants.iter().position(|one| runs(&one.situation) || !one.passed.is_empty())?;
        let hand = instants[..=begins].iter().rposition(|one| matches!(one.cause, Cause::Hand(_)))?;
        instants.get(hand.checked_sub(1)?).map(|one| &one.situation)
    }
}
