//! The rows of a digest in the form in which the page reads them.

use std::collections::BTreeMap;

use diagnose::digest::{Change, Ground, InTheWay, Shows, Together, complaints};
use diagnose::evidence::NAMES_WHAT_IS_NOT_THERE;
use diagnose::{Doubt, RUNS_BY_ITSELF, Standing, WRONG_ABOUT_RUNNING};
use machine::id::Id;
use serde_json::{Value, json};

use super::numbers::{packed, short, steps};

/// The kinds of standing, in the order in which the page counts them.
const STANDINGS: [Standing; 7] = [
    Standing::WaitsForYou,
    Standing::Finished,
    Standing::NotStarted,
    Standing::Stalled,
    Standing::Tripped,
    Standing::ControllerDown,
    Standing::Restless,
];

/// Latent shares are told in this many steps.
const LATENT_STEPS: f64 = 4000.0;

/// The probability of each complaint for each kind of standing.
pub fn of_complaints() -> Value {
    json!(STANDINGS.map(complaints))
}

/// The numbers of the kinds of standing in which all went as always.
pub fn standings_as_always() -> Value {
    let as_always =
        (0..STANDINGS.len()).filter(|at| matches!(STANDINGS[*at], Standing::WaitsForYou | Standing::Finished));
    json!(as_always.collect::<Vec<_>>())
}

/// How often people are wrong.
pub fn of_doubt(doubt: &Doubt) -> Value {
    json!({
        "named": doubt.lamps.named,
        "rest": doubt.lamps.rest,
        "neighbours": doubt.lamps.neighbours,
        "shifted": doubt.lamps.shifted,
        "rows": doubt.lamps.rows,
        "deed": doubt.deed,
        "routine": doubt.routine,
        "unlisted": doubt.unlisted,
        "missing": NAMES_WHAT_IS_NOT_THERE,
        "remedy": doubt.remedy,
        "wrongRuns": WRONG_ABOUT_RUNNING,
        "stopsByItself": RUNS_BY_ITSELF,
    })
}

fn index(one: Option<usize>) -> i64 {
    one.and_then(|one| i64::try_from(one).ok()).unwrap_or(-1)
}

/// What lamps show, with the ways to vary numbered: 0 dark, 1 lit, from 2 on these.
#[derive(Default)]
struct Lamps {
    varying: Vec<(f64, bool)>,
}

impl Lamps {
    fn number(&mut self, shows: Shows) -> u32 {
        match shows {
            Shows::Steady(lit) => u32::from(lit),
            Shows::Varies(share, flickers) => {
                let one = (share, flickers);
                let at = self.varying.iter().position(|known| *known == one).unwrap_or_else(|| {
                    self.varying.push(one);
                    self.varying.len() - 1
                });
                at as u32 + 2
            }
        }
    }
}

/// A ground's numbers; `looks` and texts are put to it elsewhere.
pub fn of_ground(ground: &Ground) -> Value {
    let mut lamps = Lamps::default();
    let truths: Vec<String> =
        ground.truths.iter().map(|truth| packed(truth.iter().map(|shows| lamps.number(*shows)))).collect();
    let mut change = |one: &Change| {
        let shown: Vec<(u32, u32)> = one.lamps.iter().map(|(lamp, shows)| (*lamp, lamps.number(*shows))).collect();
        json!({ "lamps": shown, "answers": one.answers })
    };
    let changes: Vec<Value> = ground.changes.iter().map(&mut change).collect();
    let mut values: BTreeMap<u32, u32> = BTreeMap::new();
    let step = |share: f64| (share * LATENT_STEPS).round() as u32;
    ground.latent.iter().flatten().for_each(|share| _ = values.insert(step(*share), 0));
    values.values_mut().enumerate().for_each(|(at, number)| *number = at as u32);
    let latent_row = |row: &Vec<f64>| packed(row.iter().map(|share| values[&step(*share)]));
    let listed = |list: &Vec<(u32, u32)>| packed(list.iter().flat_map(|(class, change)| [*class, *change]));
    let next = |one: Option<u32>| one.map_or(0, |one| one + 1);
    let standing = |one: Standing| STANDINGS.iter().position(|known| *known == one).unwrap_or(0) as u32;
    let (signs, rows) = (&ground.signs, &ground.rows);
    let in_the_way = |one: &InTheWay| {
        let after = (0_u32..).zip(&one.after).filter(|(_, holds)| **holds).map(|(at, _)| at);
        json!([one.stage, one.behaviour, u8::from(one.in_play), packed(after)])
    };
    // By bit: whether all had gone as always, then what is otherwise than told.
    let together = |one: &Together| {
        let flags = std::iter::once(one.as_always).chain(one.otherwise).zip(0..);
        let flags = flags.map(|(flag, bit)| u32::from(flag) << bit).sum();
        [u32::from(one.stage), one.behaviours[0], one.behaviours[1], flags]
    };
    json!({
        "alternative": ground.alternative,
        "routineNamed": index(ground.routine_named.map(Id::index)),
        "scale": ground.scale,
        "listed": ground.listed,
        "actions": ground.actions,
        "sameAction": ground.same_action.iter().map(|one| index(*one)).collect::<Vec<_>>(),
        "sameLamp": ground.same_lamp.iter().map(|one| index(*one)).collect::<Vec<_>>(),
        "lampRows": ground.lamp_rows,
        "lampCount": ground.lamp_rows.iter().sum::<usize>(),
        "sameAnswer": ground.same_answer.iter()
            .map(|list| list.iter().map(|one| index(*one)).collect::<Vec<_>>())
            .collect::<Vec<_>>(),
        "answersHere": ground.answers_here,
        "truths": truths,
        "varying": lamps.varying,
        "passing": ground.passing,
        "shares": ground.shares,
        "vectors": ground.vectors.iter().map(|row| packed(row.iter().map(|one| u32::from(*one)))).collect::<Vec<_>>(),
        "classes": ground.classes.iter().map(|class| json!({
            "odds": short(class.odds),
            "groups": class.groups.iter().map(|(group, odds)| json!([group, short(*odds)])).collect::<Vec<_>>(),
            "cause": class.cause,
            "behaviour": class.behaviour,
            "remedy": index(class.remedy.map(Id::index)),
            "disturbs": u8::from(class.disturbs),
        })).collect::<Vec<_>>(),
        "latentValues": values.keys().map(|value| f64::from(*value) / LATENT_STEPS).collect::<Vec<_>>(),
        "latent": ground.latent.iter().map(latent_row).collect::<Vec<_>>(),
        "changes": changes,
        "lists": ground.change_lists.iter().map(listed).collect::<Vec<_>>(),
        "signTruth": packed(signs.iter().map(|sign| sign.truth)),
        "signVector": packed(signs.iter().map(|sign| sign.vector)),
        "signLook": packed(signs.iter().map(|sign| sign.look)),
        "signLatent": packed(signs.iter().map(|sign| next(sign.latent))),
        "signList": packed(signs.iter().map(|sign| sign.changes)),
        "rowStage": packed(rows.iter().map(|row| u32::from(row.stage))),
        "rowStanding": packed(rows.iter().map(|row| standing(row.standing))),
        "rowSign": packed(rows.iter().map(|row| row.sign)),
        "rowFirst": packed(rows.iter().map(|row| next(row.set[0]))),
        "rowSecond": packed(rows.iter().map(|row| next(row.set[1]))),
        "remedyMoves": ground.moves.by_remedy.iter().map(|(id, at)| json!([id.index(), at])).collect::<Vec<_>>(),
        "actionMoves": ground.moves.by_action,
        "inTheWay": ground.in_the_way.iter().map(in_the_way).collect::<Vec<_>>(),
        "together": packed(ground.together.iter().flat_map(together)),
        "rowWeight": packed(rows.iter().map(|row| steps(row.weight, ground.listed))),
    })
}
