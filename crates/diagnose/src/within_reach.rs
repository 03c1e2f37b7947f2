//! What can be seen and reached from outside, with nothing opened. A machine file tells places in words, so this errs on the
//! side of asking too little.

use machine::Machine;
use machine::caution::Doing;
use machine::id::{CheckId, DeviceId, MechanismId, RemedyId};
use machine::model::{Check, HandMove, MechanismClass, Observable, Who};

/// Whether an operator can be asked where a mechanism stands: not where the library knows somebody else who has to look
/// for it, and not of a button, which is where the hand has left it.
pub(crate) fn is_position_for_operator(machine: &Machine, mechanism: MechanismId) -> bool {
    let by_operator = |check: &Check| check.who.max(Doing::of_check(machine, check).who()) == Who::Operator;
    let mut looks = machine.checks.rows().filter(|check| check.observes == Observable::Position(mechanism)).peekable();
    let is_button = machine.mechanisms.get(mechanism).is_some_and(|row| row.class == MechanismClass::Button);
    !is_button && (looks.peek().is_none() || looks.any(by_operator))
}

/// Whether something has to be opened to see where a mechanism stands.
pub(crate) fn is_position_inside(machine: &Machine, mechanism: MechanismId) -> bool {
    looked_at(machine, &Observable::Position(mechanism)).is_some_and(is_inside)
}

/// Whether something has to be opened to look at what this check looks at.
pub(crate) fn is_check_inside(machine: &Machine, check: CheckId) -> bool {
    let check = &machine.checks[check];
    is_inside(place_of(machine, check.device)) || looked_at(machine, &check.observes).is_some_and(is_inside)
}

/// Whether something has to be opened to do this.
pub(crate) fn is_remedy_inside(machine: &Machine, remedy: RemedyId) -> bool {
    let remedy = &machine.remedies[remedy];
    is_inside(place_of(machine, remedy.device))
        || remedy.does.and_then(|hand| moved(machine, hand)).is_some_and(is_inside)
}

/// The place of a device; nothing where there is none.
fn place_of(machine: &Machine, device: Option<DeviceId>) -> &str {
    device.and_then(|device| machine.devices.get(device)).map_or("", |device| device.place.english.as_str())
}

/// Whether a place, as the machine file has it in words before any translation, is one that something has to be opened
/// for: a library's check of a relay may be done from outside, but not of the one in the cabinet.
fn is_inside(place: &str) -> bool {
    const INSIDE: [&str; 9] =
        ["enclosure", "behind", "under a c", "inside", "gehäuse", "hinter ", "innen", "detrás", "dentro"];
    // A cabinet has an outside, too.
    const CABINET: [&str; 3] = ["cabinet", "schrank", "armario"];
    const ON_IT: [&str; 5] = ["door", "front", "tür", "puerta", "frente"];
    let place = place.to_lowercase();
    let named = |words: &[&str]| words.iter().any(|word| place.contains(word));
    named(&INSIDE) || named(&CABINET) && !named(&ON_IT)
}

/// The place of what is looked at.
fn looked_at<'m>(machine: &'m Machine, observes: &Observable) -> Option<&'m str> {
    match *observes {
        Observable::InputStage(input, _) => machine.inputs.get(input).map(|row| row.place.english.as_str()),
        Observable::OutputStage(output, _) => machine.outputs.get(output).map(|row| row.place.english.as_str()),
        Observable::Supply(supply) => machine.supplies.get(supply).map(|row| row.place.english.as_str()),
        Observable::Position(mechanism) | Observable::MovesFreely(mechanism) => {
            machine.mechanisms.get(mechanism).map(|row| row.place.english.as_str())
        }
        Observable::Inspect(_) => None,
    }
}

/// The place of what a hand moves.
fn moved(machine: &Machine, hand: HandMove) -> Option<&str> {
    match hand {
        HandMove::Put(mechanism, _)
        | HandMove::Press(mechanism, _)
        | HandMove::Hold(mechanism)
        | HandMove::LetGo(mechanism) => machine.mechanisms.get(mechanism).map(|row| row.place.english.as_str()),
        HandMove::Supply(supply, _) => machine.supplies.get(supply).map(|row| row.place.english.as_str()),
        HandMove::PowerCycle | HandMove::Wait => None,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn nobody_but_an_electrician_looks_at_what_is_switched_in_the_cabinet() {
        let washer = machine::load_str("washer.toml", include_str!("../../../demos/parts-washer.toml")).unwrap();
        let place = |name: &str| washer.mechanisms.find(|row| row.name == name).unwrap().0;
        for name in ["heater", "pump_guard"] {
            assert!(!is_position_for_operator(&washer, place(name)), "{name}");
        }
        assert!(is_position_for_operator(&washer, place("limiter")));
        // Nothing is opened to look at it from outside, but it is under a cap.
        assert!(is_position_inside(&washer, place("limiter")));
        for (words, inside) in [
            ("cabinet, bottom rail", true),
            ("cabinet door, inside", true),
            ("behind the side panel", true),
            ("cabinet door", false),
            ("cabinet, right side", true),
            ("Schaltschranktür", false),
        ] {
            assert_eq!(is_inside(words), inside, "{words}");
        }
        assert!(is_position_for_operator(&washer, place("lid")) && !is_position_inside(&washer, place("lid")));
    }
}
