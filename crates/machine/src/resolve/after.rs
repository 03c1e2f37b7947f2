//! How much likelier a deviation is after an event where no file says it: by
//! the kind of thing that goes wrong. The only place with such numbers; `after`
//! in a device library or a machine file wins.

use super::Resolver;
use crate::condition::Condition;
use crate::id::MechanismId;
use crate::model::{AfterEvents, Event, FaultEffect, Forced, HandMove, InputStage, OutputStage, ProgramFact};
use crate::model::{SupplyKind, WorldFact};
use crate::tree::Table;

/// The kinds of deviations that events touch alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Target,
    Sensor,
    Contact,
    Cable,
    Terminal,
    Card,
    Lamp,
    Actuator,
    Electric,
    Flowing,
    Mechanism,
    Controller,
    Shut,
    Found,
    Reset,
    Forgotten,
    Unasked,
}

/// Kind, what people call it, and the factors after: moved, cleaned, repaired, power cut.
/// All of them: common practice, no source.
const USUAL: [(Kind, &str, [f64; 4]); 17] = [
    (Kind::Target, "what a sensor looks at: adjustment, dirt", [4.0, 3.0, 2.0, 1.0]),
    (Kind::Sensor, "sensing devices: dead, stuck", [1.5, 2.0, 1.5, 1.5]),
    (Kind::Contact, "loose contacts in devices and coils", [3.0, 2.0, 2.0, 1.0]),
    (Kind::Cable, "cables and plugs", [5.0, 2.0, 3.0, 1.0]),
    (Kind::Terminal, "terminals", [4.0, 1.0, 4.0, 1.0]),
    (Kind::Card, "channels of cards", [1.5, 1.0, 1.5, 3.0]),
    (Kind::Lamp, "lamps on the cards", [1.0, 1.0, 1.0, 1.0]),
    (Kind::Actuator, "coils, valves, contactors, motors", [1.5, 1.5, 1.5, 1.5]),
    (Kind::Electric, "electric supplies, fuses", [3.0, 1.5, 3.0, 5.0]),
    (Kind::Flowing, "air, vacuum, water", [5.0, 2.0, 4.0, 1.0]),
    (Kind::Mechanism, "moving parts: jammed, slow, short of the end", [2.0, 2.0, 2.0, 1.0]),
    (Kind::Controller, "the controller", [1.5, 1.0, 2.0, 8.0]),
    (Kind::Shut, "supplies shut off by hand", [20.0, 10.0, 20.0, 1.0]),
    (Kind::Found, "things left elsewhere", [3.0, 5.0, 5.0, 2.0]),
    (Kind::Reset, "a reset that is needed after power-on, forgotten", [3.0, 1.0, 3.0, 8.0]),
    (Kind::Forgotten, "other actions, forgotten", [1.0, 1.0, 1.0, 1.0]),
    (Kind::Unasked, "things done unasked", [1.0, 1.0, 1.0, 1.0]),
];

impl Resolver<'_> {
    /// The factors of a deviation: those that its file gives, else the usual ones of its kind.
    pub fn after_events(&self, effects: &[FaultEffect], lapse: bool, own: &[(Event, f64)]) -> AfterEvents {
        let usual = effects.first().and_then(|effect| {
            let kind = self.kind_of_deviation(*effect, lapse);
            USUAL.iter().find(|(of, ..)| *of == kind).map(|(.., factors)| AfterEvents::new(*factors))
        });
        own.iter().fold(usual.unwrap_or_default(), |all, (event, factor)| all.with(*event, *factor))
    }

    /// The factors that a table of the machine file gives under `after`.
    pub fn own_after(&mut self, table: &Table) -> Vec<(Event, f64)> {
        crate::library::read_after(table, &mut self.problems)
    }

    fn kind_of_deviation(&self, effect: FaultEffect, lapse: bool) -> Kind {
        let chatters = |forced: Forced, else_kind: Kind| match forced {
            Forced::Chatters(..) => Kind::Contact,
            _ => else_kind,
        };
        match effect {
            FaultEffect::Input(_, InputStage::Target, _) => Kind::Target,
            FaultEffect::Input(_, InputStage::Sensor, forced) => chatters(forced, Kind::Sensor),
            FaultEffect::Input(_, InputStage::Cable, _) | FaultEffect::Output(_, OutputStage::Cable, _) => Kind::Cable,
            FaultEffect::Input(_, InputStage::Terminal, _) => Kind::Terminal,
            FaultEffect::Input(_, InputStage::Card, _) | FaultEffect::Output(_, OutputStage::Card, _) => Kind::Card,
            FaultEffect::Input(_, InputStage::Lamp, _) | FaultEffect::Output(_, OutputStage::Lamp, _) => Kind::Lamp,
            FaultEffect::Output(_, OutputStage::Coil | OutputStage::Valve, forced) => chatters(forced, Kind::Actuator),
            FaultEffect::Supply(..) if lapse => Kind::Shut,
            FaultEffect::Supply(supply, _) if self.machine.supplies[supply].kind == SupplyKind::Electric => {
                Kind::Electric
            }
            FaultEffect::Supply(..) => Kind::Flowing,
            FaultEffect::Stuck(_) | FaultEffect::Slow(..) | FaultEffect::StopsShort(..) | FaultEffect::Creeps(..) => {
                Kind::Mechanism
            }
            FaultEffect::ControllerStopped | FaultEffect::ControllerError => Kind::Controller,
            FaultEffect::Found(..) => Kind::Found,
            FaultEffect::Unasked(_) => Kind::Unasked,
            FaultEffect::Forgotten(routine, index) => {
                let action = self.machine.routines[routine].actions.get(index as usize);
                let sets = action.is_some_and(|action| self.sets_what_power_on_cleared(action.movement));
                if sets { Kind::Reset } else { Kind::Forgotten }
            }
        }
    }

    /// Whether a hand action sets a latch that is not set after power-on.
    fn sets_what_power_on_cleared(&self, movement: HandMove) -> bool {
        let (HandMove::Press(hand, _) | HandMove::Hold(hand) | HandMove::Put(hand, _)) = movement else { return false };
        self.machine.latches.rows().any(|latch| !latch.at_power_on && self.looks_at(&latch.set, hand))
    }

    /// Whether a condition of the program looks at this mechanism, through an edge too.
    fn looks_at(&self, condition: &Condition<ProgramFact>, hand: MechanismId) -> bool {
        let shows = |fact: &WorldFact| matches!(fact, WorldFact::At(of, _) | WorldFact::Between(of) if *of == hand);
        condition.facts().into_iter().any(|fact| match *fact {
            ProgramFact::Input(input) => self.machine.inputs[input].lit.facts().into_iter().any(shows),
            ProgramFact::Rises(edge) | ProgramFact::Falls(edge) => {
                // Edges of edges can't be written, so that this ends.
                self.machine.edges[edge].facts().into_iter().any(|fact| match *fact {
                    ProgramFact::Input(input) => self.machine.inputs[input].lit.facts().into_iter().any(shows),
                    _ => false,
                })
            }
            _ => false,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;
    use crate::model::Machine;

    #[test]
    fn the_page_shows_the_usual_numbers() {
        let page = include_str!("../../../../docs/machine-file.md");
        for (_, words, factors) in USUAL {
            let numbers: Vec<String> = factors.iter().map(|factor| format!("{factor}")).collect();
            let line = format!("| {words} | {} |", numbers.join(" | "));
            assert!(page.contains(&line), "docs/machine-file.md lacks\n{line}");
        }
    }

    fn machine() -> Machine {
        crate::load_str(
            "after.toml",
            r#"format = 1
            [machine]
            name = "Press"
            [supplies]
            dc24 = "power-supply-24v"
            air = { is = "compressed-air", shut_by_hand = "1 in 300", after = { repaired = 50 } }
            [mechanisms]
            selector = { positions = ["work", "service"], by = "hand", found = { service = "1 in 100" } }
            [inputs]
            X1 = { lit = "ram = down", is = "reed-switch" }
            X2 = { lit = "reset = pressed" }
            X3 = { lit = "start = pressed" }
            X4 = { lit = "selector = work" }
            [latches]
            armed = { set = "R_TRIG(reset = pressed)", reset = "FALSE" }
            [charts.press]
            start = "start = pressed"
            needs = ["armed"]
            [charts.press.steps]
            lower = "do ram down until ram = down"
            raise = "do ram up for T#2s"
            [routines.press]
            do = ["press reset", "press start"]
            [devices.X1.faults.bent]
            at = "target"
            effect = "off"
            rate = 1
            after = { moved = 9 }
            "#,
        )
        .unwrap()
    }

    fn after(key: &str, event: Event) -> f64 {
        let machine = machine();
        let found = machine.deviations.rows().find(|row| row.key == key);
        found.unwrap_or_else(|| panic!("{key}")).after.after(event)
    }

    #[test]
    fn a_file_wins_over_the_library_and_the_library_over_the_usual_numbers() {
        assert_eq!(after("X1/bent", Event::Moved), 9.0);
        assert_eq!(after("X1/bent", Event::Cleaned), 3.0, "what the file doesn't say is as usual");
        assert_eq!(after("X1 cable/broken", Event::Moved), 5.0);
        assert_eq!(after("lapse/air shut", Event::Repaired), 50.0);
        assert_eq!(after("lapse/air shut", Event::Moved), 20.0);
        assert!(after("air/missing", Event::Moved) > after("air/regulator", Event::Moved), "the library says more");
    }

    #[test]
    fn after_a_power_cut_the_reset_is_forgotten_more_often_and_start_is_not() {
        assert_eq!(after("lapse/press reset", Event::PowerCut), 8.0);
        assert_eq!(after("lapse/press start", Event::PowerCut), 1.0);
        assert!(after("lapse/selector found service", Event::Repaired) > 1.0);
    }
}
