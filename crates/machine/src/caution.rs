//! Cautions, and who may do a thing: worked out from the energy, access, load and
//! guard state that a check, a remedy, a hand action or a procedure's step
//! declares. No file has a key for a caution, so none can be forgotten, thinned
//! out or contradict what is declared.
//!
//! A caution is said *before* the words it belongs to. [`MANUAL_FIRST`] stands
//! once on each page and sheet with checks.

mod defeat;

pub use defeat::told_to_defeat;

use crate::id::{DeviceId, InputId, MechanismId, OutputId};
use crate::library::{Filling, Library};
use crate::model::{
    Access, Check, CheckRole, DeviceRole, Energy, Guarding, HandMove, Load, Machine, Observable, ProcedureStep, Remedy,
    Who, Words,
};

/// What comes before everything that is printed here.
pub const MANUAL_FIRST: Caution = Caution::ManualFirst;

/// Something to be said before a thing is done, in the order in which they are said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Caution {
    /// Off, locked, vented, at rest, before anybody reaches in.
    EnergyOff,
    /// Live parts are within reach.
    Live,
    /// Air or vacuum is on within reach.
    Pressure,
    /// The cabinet is opened with the energy off: find out that it is dead.
    Cabinet,
    /// Behind a guard.
    BehindGuard,
    /// Near a raised load.
    Raised,
    /// Something is tried and can move.
    Moves,
    /// Something is moved by hand.
    MovedByHand,
    /// Parts are swapped.
    Swap,
    /// It belongs to what protects people.
    Protects,
    /// Power, air or another supply comes back.
    ComesBack,
    /// The machine builder's manual, lockout rules and local codes come first.
    ManualFirst,
}

impl Caution {
    /// All of them, in the order in which they are said.
    pub const ALL: [Self; 12] = [
        Self::EnergyOff,
        Self::Live,
        Self::Pressure,
        Self::Cabinet,
        Self::BehindGuard,
        Self::Raised,
        Self::Moves,
        Self::MovedByHand,
        Self::Swap,
        Self::Protects,
        Self::ComesBack,
        Self::ManualFirst,
    ];

    /// The key of its text, such as `caution.energy-off`.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::EnergyOff => "caution.energy-off",
            Self::Live => "caution.live",
            Self::Pressure => "caution.pressure",
            Self::Cabinet => "caution.cabinet",
            Self::BehindGuard => "caution.behind-guard",
            Self::Raised => "caution.raised",
            Self::Moves => "caution.moves",
            Self::MovedByHand => "caution.moved-by-hand",
            Self::Swap => "caution.swap",
            Self::Protects => "caution.protects",
            Self::ComesBack => "caution.comes-back",
            Self::ManualFirst => "caution.manual-first",
        }
    }

    /// The English text.
    #[must_use]
    pub fn english(self) -> &'static str {
        match self {
            Self::EnergyOff => {
                "First switch off, lock it against being switched on, let air and vacuum out, and wait until nothing \
                 moves. Only then reach in, open or loosen anything."
            }
            Self::Live => {
                "Live parts are within reach: only for persons qualified for electrical work. Everybody else stays \
                 away."
            }
            Self::Pressure => {
                "Air or vacuum is on within reach: only for qualified persons. Hands and face stay away from hoses, \
                 exhausts and whatever they move."
            }
            Self::Cabinet => "Only for qualified persons. In the cabinet, measure first that nothing is live any more.",
            Self::BehindGuard => {
                "Behind a guard: only for qualified persons, and only with the energy off and locked. Put the guard \
                 back and test it before the machine runs."
            }
            Self::Raised => {
                "A raised load can come down, with the energy off too: bring it down or support it first. Only for \
                 qualified persons."
            }
            Self::Moves => "Something can move: guards shut, everybody clear, and say it aloud before you do it.",
            Self::MovedByHand => "Move it slowly by hand, and keep fingers out of where it closes.",
            Self::Swap => {
                "Swap only with the energy off, mark what belongs where, and swap back before any start. What protects \
                 people is never swapped."
            }
            Self::Protects => {
                "This protects people: it is never bridged, defeated or held. Test it after any work on it, before the \
                 machine runs."
            }
            Self::ComesBack => "When power, air or water comes back, things can move: guards shut, everybody clear.",
            Self::ManualFirst => "The machine builder's manual, lockout rules and local codes come first.",
        }
    }

    /// The text with its translations. It is the program's own: no other library replaces it.
    #[must_use]
    pub fn words(self) -> Words {
        Library::embedded().translations.words(self.key(), self.english(), &Filling::default())
    }
}

/// What kind of thing is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Looking.
    Look,
    /// Measuring.
    Measure,
    /// Trying, or moving by hand.
    Try,
    /// Swapping with a neighbour.
    Swap,
    /// Putting something right.
    Mend,
    /// Working the machine as it is meant to be worked: a door, a button, a work piece.
    Operate,
}

impl From<CheckRole> for Kind {
    fn from(role: CheckRole) -> Self {
        match role {
            CheckRole::Look => Self::Look,
            CheckRole::Measure => Self::Measure,
            CheckRole::Try => Self::Try,
            CheckRole::Swap => Self::Swap,
        }
    }
}

/// A thing that somebody is about to do, as far as danger goes.
///
/// ```
/// use machine::caution::{Caution, Doing, Kind};
/// use machine::model::{Access, Energy, Guarding, Load, Who};
/// let measuring = Doing {
///     kind: Kind::Measure,
///     energy: Energy::Live,
///     access: Access::Cabinet,
///     load: Load::None,
///     guarding: Guarding::None,
///     restores: false,
/// };
/// assert_eq!(measuring.who(), Who::Electrician);
/// assert_eq!(measuring.cautions(), [Caution::Live]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Doing {
    /// What kind of thing it is.
    pub kind: Kind,
    /// Energy while it is done.
    pub energy: Energy,
    /// Access it needs.
    pub access: Access,
    /// Raised load nearby.
    pub load: Load,
    /// Whether it is about something that protects people.
    pub guarding: Guarding,
    /// Whether it brings power, air or another supply back.
    pub restores: bool,
}

/// Something that must not be asked of anybody.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Forbidden {
    /// A guard, stop or two-hand point is swapped or tried.
    TriesGuard,
    /// Somebody reaches behind a guard with the energy on.
    ReachesInWithEnergy,
    /// Parts are swapped with the energy on.
    SwapsWithEnergy,
}

impl Forbidden {
    /// What is wrong and what to do, for whoever writes the file.
    #[must_use]
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::TriesGuard => (
                "what protects people is never swapped and never tried by hand",
                "let it be looked at, or measured with the energy off: role = \"look\" or \"measure\"",
            ),
            Self::ReachesInWithEnergy => (
                "nobody reaches behind a guard before the energy is off and locked",
                "write energy = \"off\", or let it be looked at from outside: access = \"outside\"",
            ),
            Self::SwapsWithEnergy => {
                ("parts are swapped with the energy off", "write energy = \"off\"; undo the swap before any start")
            }
        }
    }
}

impl Doing {
    /// A check of this machine.
    #[must_use]
    pub fn of_check(machine: &Machine, check: &Check) -> Self {
        Self {
            kind: check.role.into(),
            energy: check.energy,
            access: check.access,
            load: check.load,
            guarding: guarding_of_check(machine, check.device, &check.observes),
            restores: false,
        }
    }

    /// A remedy of this machine.
    #[must_use]
    pub fn of_remedy(machine: &Machine, remedy: &Remedy) -> Self {
        let device = remedy.device.and_then(|device| machine.devices.get(device));
        let supply = device.is_some_and(|device| matches!(device.role, DeviceRole::Supply(_)));
        Self {
            kind: Kind::Mend,
            energy: remedy.energy,
            access: remedy.access,
            load: remedy.load,
            guarding: device.map_or(Guarding::None, |device| device.guarding),
            // What is switched off for the work comes back after it.
            restores: supply || remedy.energy == Energy::Off,
        }
    }

    /// A hand action in normal running.
    #[must_use]
    pub fn of_hand(machine: &Machine, movement: HandMove) -> Self {
        Self {
            kind: Kind::Operate,
            energy: Energy::Normal,
            access: Access::Outside,
            load: Load::None,
            guarding: guarding_of_hand(machine, movement),
            restores: restores(movement),
        }
    }

    /// A step of a procedure.
    #[must_use]
    pub fn of_step(machine: &Machine, step: &ProcedureStep) -> Self {
        let guarding = match step.guarding {
            Guarding::None => guarding_of_hand(machine, step.movement),
            declared => declared,
        };
        Self {
            kind: Kind::Operate,
            energy: step.energy,
            access: step.access,
            load: step.load,
            guarding,
            restores: restores(step.movement),
        }
    }

    /// The least qualification that it takes, whatever the file says.
    #[must_use]
    pub fn who(&self) -> Who {
        if self.is_live() {
            return Who::Electrician;
        }
        let inside = self.access != Access::Outside || self.energy == Energy::Pressure || self.load == Load::Raised;
        let protects = self.guarding != Guarding::None
            && (matches!(self.kind, Kind::Measure | Kind::Try | Kind::Swap) || self.works_on_guard());
        if inside || protects || self.kind == Kind::Swap { Who::Technician } else { Who::Operator }
    }

    /// Live parts are within reach: declared, or because the cabinet is open with the energy on.
    fn is_live(&self) -> bool {
        self.energy == Energy::Live || (self.access == Access::Cabinet && self.energy != Energy::Off)
    }

    /// Mending what protects people; letting an emergency stop out again is not that.
    fn works_on_guard(&self) -> bool {
        self.kind == Kind::Mend && (self.energy != Energy::Normal || self.access != Access::Outside)
    }

    /// What is said before it, in this order.
    #[must_use]
    pub fn cautions(&self) -> Vec<Caution> {
        let protects = self.guarding != Guarding::None && !matches!(self.kind, Kind::Look | Kind::Operate);
        let tries = self.kind == Kind::Try;
        let said = [
            (self.energy == Energy::Off || self.access == Access::BehindGuard, Caution::EnergyOff),
            (self.is_live(), Caution::Live),
            (self.energy == Energy::Pressure, Caution::Pressure),
            (self.access == Access::Cabinet && !self.is_live(), Caution::Cabinet),
            (self.access == Access::BehindGuard, Caution::BehindGuard),
            (self.load == Load::Raised, Caution::Raised),
            (tries && self.energy != Energy::Off, Caution::Moves),
            (tries && self.energy == Energy::Off, Caution::MovedByHand),
            (self.kind == Kind::Swap, Caution::Swap),
            (protects, Caution::Protects),
            (self.restores, Caution::ComesBack),
        ];
        said.into_iter().filter_map(|(applies, caution)| applies.then_some(caution)).collect()
    }

    /// Why nobody may be asked to do it; nothing for what is in order.
    #[must_use]
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let acts = matches!(self.kind, Kind::Try | Kind::Swap);
        let on = self.energy != Energy::Off;
        let found = [
            (acts && self.guarding != Guarding::None, Forbidden::TriesGuard),
            (on && self.access == Access::BehindGuard, Forbidden::ReachesInWithEnergy),
            (on && self.kind == Kind::Swap, Forbidden::SwapsWithEnergy),
        ];
        found.into_iter().filter_map(|(applies, why)| applies.then_some(why)).collect()
    }

    /// The energy with which it may be done, whatever the file says.
    #[must_use]
    pub fn safe_energy(&self) -> Energy {
        if self.kind == Kind::Swap || self.access == Access::BehindGuard { Energy::Off } else { self.energy }
    }
}

/// Whether a hand brings a supply back.
fn restores(movement: HandMove) -> bool {
    matches!(movement, HandMove::PowerCycle | HandMove::Supply(_, true))
}

/// What an input's own device guards.
#[must_use]
pub fn guarding_of_input(machine: &Machine, input: InputId) -> Guarding {
    guarding_in(machine, DeviceRole::Input(input))
}

/// What an output's own device guards.
#[must_use]
pub fn guarding_of_output(machine: &Machine, output: OutputId) -> Guarding {
    guarding_in(machine, DeviceRole::Output(output))
}

fn guarding_in(machine: &Machine, role: DeviceRole) -> Guarding {
    let mut guarding = machine.devices.rows().filter(|row| row.role == role).map(|row| row.guarding);
    guarding.find(|guarding| *guarding != Guarding::None).unwrap_or(Guarding::None)
}

/// What a check's device or the point that it looks at guards: a cable that several points share
/// guards what any of them guards, as far as that point goes.
#[must_use]
pub fn guarding_of_check(machine: &Machine, device: Option<DeviceId>, observes: &Observable) -> Guarding {
    let own = device.and_then(|device| machine.devices.get(device)).map_or(Guarding::None, |device| device.guarding);
    match (own, observes) {
        (Guarding::None, Observable::InputStage(input, _)) => guarding_of_input(machine, *input),
        (Guarding::None, Observable::OutputStage(output, _)) => guarding_of_output(machine, *output),
        _ => own,
    }
}

/// What the mechanism that a hand moves guards: as the devices say that sense it.
fn guarding_of_hand(machine: &Machine, movement: HandMove) -> Guarding {
    let (HandMove::Put(mechanism, _)
    | HandMove::Press(mechanism, _)
    | HandMove::Hold(mechanism)
    | HandMove::LetGo(mechanism)) = movement
    else {
        return Guarding::None;
    };
    guarding_of_mechanism(machine, mechanism)
}

/// What a mechanism guards, as the devices say that sense it.
#[must_use]
pub fn guarding_of_mechanism(machine: &Machine, mechanism: MechanismId) -> Guarding {
    use crate::model::WorldFact::{At, Between};
    let about = |fact: &&crate::model::WorldFact| matches!(fact, At(of, _) | Between(of) if *of == mechanism);
    machine
        .inputs
        .iter()
        .filter(|(_, row)| row.lit.facts().iter().any(about))
        .map(|(input, _)| guarding_of_input(machine, input))
        .find(|guarding| *guarding != Guarding::None)
        .unwrap_or(Guarding::None)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const LOOKING: Doing = Doing {
        kind: Kind::Look,
        energy: Energy::Normal,
        access: Access::Outside,
        load: Load::None,
        guarding: Guarding::None,
        restores: false,
    };

    #[test]
    fn looking_from_outside_is_for_everybody_and_needs_no_words() {
        assert_eq!(LOOKING.who(), Who::Operator);
        assert!(LOOKING.cautions().is_empty() && LOOKING.forbidden().is_empty());
        let at_guard = Doing { guarding: Guarding::Guard, ..LOOKING };
        assert_eq!((at_guard.who(), at_guard.cautions()), (Who::Operator, Vec::new()));
    }

    #[test]
    fn whatever_is_live_behind_a_guard_under_pressure_or_a_load_is_for_the_qualified() {
        let cases = [
            (Doing { energy: Energy::Live, ..LOOKING }, Who::Electrician, Caution::Live),
            (Doing { access: Access::Cabinet, ..LOOKING }, Who::Electrician, Caution::Live),
            (Doing { access: Access::Cabinet, energy: Energy::Off, ..LOOKING }, Who::Technician, Caution::Cabinet),
            (
                Doing { access: Access::BehindGuard, energy: Energy::Off, ..LOOKING },
                Who::Technician,
                Caution::EnergyOff,
            ),
            (Doing { energy: Energy::Pressure, ..LOOKING }, Who::Technician, Caution::Pressure),
            (Doing { load: Load::Raised, ..LOOKING }, Who::Technician, Caution::Raised),
            (Doing { kind: Kind::Swap, energy: Energy::Off, ..LOOKING }, Who::Technician, Caution::Swap),
            (Doing { kind: Kind::Measure, guarding: Guarding::Stop, ..LOOKING }, Who::Technician, Caution::Protects),
        ];
        for (doing, who, caution) in cases {
            assert_eq!(doing.who(), who, "{doing:?}");
            assert!(doing.cautions().contains(&caution), "{doing:?} says {:?}", doing.cautions());
        }
    }

    #[test]
    fn what_nobody_may_be_asked_to_do_is_found() {
        let swap = Doing { kind: Kind::Swap, guarding: Guarding::TwoHand, ..LOOKING };
        assert_eq!(swap.forbidden(), [Forbidden::TriesGuard, Forbidden::SwapsWithEnergy]);
        assert_eq!(swap.safe_energy(), Energy::Off);
        let reach = Doing { access: Access::BehindGuard, ..LOOKING };
        assert_eq!(reach.forbidden(), [Forbidden::ReachesInWithEnergy]);
        assert!(reach.cautions().contains(&Caution::EnergyOff));
        assert_eq!(reach.safe_energy(), Energy::Off);
    }

    #[test]
    fn every_caution_has_a_key_of_its_own_and_german_and_spanish_words() {
        let mut keys: Vec<&str> = Caution::ALL.iter().map(|caution| caution.key()).collect();
        keys.dedup();
        assert_eq!(keys.len(), Caution::ALL.len());
        for caution in Caution::ALL {
            let words = caution.words();
            for language in ["de", "es"] {
                assert_ne!(words.in_language(language), words.english, "{language} {}", words.key);
            }
            assert_eq!(told_to_defeat(&words.english, true), None, "{}", words.key);
            for (_, text) in &words.translations {
                assert_eq!(told_to_defeat(text, true), None, "{text}");
            }
        }
    }
}
