//! Loose contacts of one chain are played once, and apart only beside what holds the chain on between them.
#![allow(missing_docs, clippy::unwrap_used)]

use machine::id::{Id, RoutineId};
use machine::model::{FaultEffect, Forced};
use sim::{Options, Plant, explore};

const MINIMAL: &str = include_str!("../../../demos/minimal.toml");

#[test]
fn loose_contacts_of_one_chain_are_played_once() {
    let machine = machine::load_str("minimal.toml", MINIMAL).unwrap();
    let plant = Plant::new(&machine);
    let exploration = explore(&machine, &plant, RoutineId::new(0), &Options::default());
    let behaviours = &exploration.behaviours;
    let as_others: Vec<usize> = (0..behaviours.len()).filter(|one| exploration.runs_as(*one, None) != *one).collect();
    assert!(!as_others.is_empty());
    for one in as_others {
        let own = exploration.runs_as(one, None);
        assert!(own < one, "played under a lower number");
        assert!(behaviours[one].effects.iter().all(FaultEffect::comes_and_goes));
        assert_ne!(behaviours[one].effects, behaviours[own].effects);
        // Beside nearly everything they do the same.
        let apart: Vec<usize> =
            (0..behaviours.len()).filter(|other| exploration.runs_as(one, Some(*other)) == one).collect();
        assert!(!apart.is_empty() && apart.len() < behaviours.len() / 4, "{apart:?}");
        let on = |effect: &FaultEffect| {
            matches!(effect, FaultEffect::Input(_, _, Forced::On) | FaultEffect::Output(_, _, Forced::On))
        };
        assert!(apart.iter().all(|other| behaviours[*other].effects.iter().any(on)));
        // Its own records are those beside what tells them apart, and no others.
        let of = |one: usize| {
            let records = exploration.records.iter();
            records.filter(move |record| [record.first, record.second].contains(&u32::try_from(one).ok()))
        };
        for record in of(one) {
            let other = [record.first, record.second].into_iter().flatten().find(|other| *other as usize != one);
            assert!(other.is_some_and(|other| apart.contains(&(other as usize))), "{record:?}");
        }
        assert!(of(own).count() > of(one).count());
    }
}
