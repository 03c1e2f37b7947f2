//! Whatever the text, the reader gives an answer: no panic, no hang.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::text::expression::{Comparison, Expression, Operand, parse};
use machine::text::{Word, chance, effect, hand, label_range, sentence, time};
use machine::{Choice, Source, read};
use proptest::prelude::*;

const DEMOS: [&str; 5] = [
    include_str!("../../../demos/minimal.toml"),
    include_str!("../../../demos/jar-filler.toml"),
    include_str!("../../../demos/parts-washer.toml"),
    include_str!("../../../demos/lidding-line.toml"),
    include_str!("files/press.toml"),
];

/// Pieces that mean something to one of the parsers.
const PIECES: [&str; 24] = [
    "(",
    ")",
    "\"",
    "'",
    "\"\"\"",
    "{",
    "}",
    "[",
    "]",
    "=",
    ".",
    "\n",
    " AND ",
    " NOT ",
    "T#",
    "until ",
    " for ",
    "\\u00fc",
    "ü",
    "0..X9",
    "not known",
    "go to ",
    "\r\n",
    "\\",
];

#[derive(Clone, Debug)]
enum Change {
    Insert(usize, usize),
    Cut(usize, usize),
    Copy(usize, usize, usize),
    Replace(usize, char),
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        (any::<usize>(), 0..PIECES.len()).prop_map(|(at, piece)| Change::Insert(at, piece)),
        (any::<usize>(), 1_usize..60).prop_map(|(at, length)| Change::Cut(at, length)),
        (any::<usize>(), any::<usize>(), 1_usize..80).prop_map(|(from, to, length)| Change::Copy(from, to, length)),
        (any::<usize>(), any::<char>()).prop_map(|(at, character)| Change::Replace(at, character)),
    ]
}

fn changed(text: &str, changes: &[Change]) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    for change in changes {
        let place = |at: usize, letters: &[char]| at % (letters.len() + 1);
        match *change {
            Change::Insert(at, piece) => {
                let at = place(at, &letters);
                letters.splice(at..at, PIECES[piece].chars());
            }
            Change::Cut(at, length) => {
                let at = place(at, &letters);
                let end = (at + length).min(letters.len());
                letters.drain(at..end);
            }
            Change::Copy(from, to, length) => {
                let from = place(from, &letters);
                let part: Vec<char> = letters[from..(from + length).min(letters.len())].to_vec();
                let to = place(to, &letters);
                letters.splice(to..to, part);
            }
            Change::Replace(at, character) => {
                let at = place(at, &letters);
                if let Some(letter) = letters.get_mut(at) {
                    *letter = character;
                }
            }
        }
    }
    letters.into_iter().collect()
}

fn word(text: &str) -> Word {
    Word { text: text.to_string(), range: 0..0 }
}

/// Expressions whose printed form must read back as themselves.
fn expression() -> impl Strategy<Value = Expression> {
    let name = prop_oneof!["[a-z][a-z0-9_]{0,6}", Just("I0.3".to_string()), Just("two words".to_string())]
        .prop_filter("no keyword", |name| !["and", "or", "xor", "not", "true", "false"].contains(&name.as_str()));
    let comparison = prop_oneof![
        Just(Comparison::Equal),
        Just(Comparison::Unequal),
        Just(Comparison::AtLeast),
        Just(Comparison::AtMost),
        Just(Comparison::Above),
        Just(Comparison::Below),
    ];
    let operand = prop_oneof![
        name.clone().prop_map(|name| Operand::Name(word(&name))),
        any::<u32>().prop_map(|whole| Operand::Whole(whole, word(""))),
        (0_u64..1_000_000).prop_map(|ms| Operand::Time(ms, word(""))),
    ];
    let leaf = prop_oneof![
        any::<bool>().prop_map(Expression::Always),
        (0_u64..1_000_000).prop_map(|ms| Expression::Time(ms, 0..0)),
        name.clone().prop_map(|name| Expression::Name(word(&name))),
        (name, comparison, operand)
            .prop_map(|(name, comparison, operand)| { Expression::Compare(word(&name), comparison, operand) }),
    ];
    leaf.prop_recursive(4, 24, 3, |inner| {
        prop_oneof![
            inner.clone().prop_map(|inner| Expression::Not(Box::new(inner))),
            (any::<bool>(), inner.clone())
                .prop_map(|(rising, inner)| Expression::Edge { rising, inner: Box::new(inner) }),
            prop::collection::vec(inner.clone(), 2..4).prop_map(Expression::And),
            prop::collection::vec(inner.clone(), 2..4).prop_map(Expression::Or),
            (inner.clone(), inner).prop_map(|(left, right)| Expression::Xor(Box::new(left), Box::new(right))),
        ]
    })
}

/// The same expression with groups of the same operator run together, as the parser does it.
fn flat(expression: Expression) -> Expression {
    match expression {
        Expression::And(list) => {
            let mut all = Vec::new();
            for (index, part) in list.into_iter().enumerate() {
                match (index, flat(part)) {
                    (0, Expression::And(first)) => all.extend(first),
                    (_, part) => all.push(part),
                }
            }
            Expression::And(all)
        }
        Expression::Or(list) => {
            let mut all = Vec::new();
            for (index, part) in list.into_iter().enumerate() {
                match (index, flat(part)) {
                    (0, Expression::Or(first)) => all.extend(first),
                    (_, part) => all.push(part),
                }
            }
            Expression::Or(all)
        }
        Expression::Not(inner) => Expression::Not(Box::new(flat(*inner))),
        Expression::Edge { rising, inner } => Expression::Edge { rising, inner: Box::new(flat(*inner)) },
        Expression::Xor(left, right) => Expression::Xor(Box::new(flat(*left)), Box::new(flat(*right))),
        other => other,
    }
}

/// The structure without places in the text.
fn bare(expression: &Expression) -> String {
    match expression {
        Expression::Always(value) => format!("{value}"),
        Expression::Time(ms, _) => format!("{ms} ms"),
        Expression::Name(name) => format!("name {}", name.text),
        Expression::Compare(left, comparison, right) => {
            let right = match right {
                Operand::Name(name) => format!("name {}", name.text),
                Operand::Whole(whole, _) => format!("{whole}"),
                Operand::Time(ms, _) => format!("{ms} ms"),
            };
            format!("{} {comparison} {right}", left.text)
        }
        Expression::Edge { rising, inner } => format!("edge {rising} [{}]", bare(inner)),
        Expression::Not(inner) => format!("not [{}]", bare(inner)),
        Expression::And(list) => format!("all {:?}", list.iter().map(bare).collect::<Vec<_>>()),
        Expression::Or(list) => format!("any {:?}", list.iter().map(bare).collect::<Vec<_>>()),
        Expression::Xor(left, right) => format!("xor [{}] [{}]", bare(left), bare(right)),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn a_mutated_machine_file_is_read(demo in 0..DEMOS.len(), changes in prop::collection::vec(change(), 1..12)) {
        let text = changed(DEMOS[demo], &changes);
        let reading = read(Source::new("mutated.toml", text), &[]);
        for problem in reading.lint() {
            let _ = problem.render(&reading.sources, false);
            let _ = problem.to_json(&reading.sources);
        }
        let resolved = reading.resolve(&Choice::default());
        let total: f64 = resolved.alternatives.iter().map(|alternative| alternative.weight).sum();
        prop_assert!((total - 1.0).abs() < 1e-9, "weights sum to {total}");
    }
}

proptest! {
    #[test]
    fn any_text_goes_through_the_small_parsers(text in "\\PC{0,60}", octal in any::<bool>()) {
        for result in [
            parse(&text).err().map(|mistake| mistake.range),
            sentence::parse(&text).err().map(|mistake| mistake.range),
            effect::parse_effect(&text).err().map(|mistake| mistake.range),
            hand::parse_hand(&text).err().map(|mistake| mistake.range),
            label_range::expand(&text, octal).err().map(|mistake| mistake.range),
        ].into_iter().flatten() {
            prop_assert!(text.get(result.clone()).is_some(), "{result:?} is not a part of {text:?}");
        }
        let _ = time::parse_time(&text);
        let _ = chance::parse_chance(&text);
    }

    #[test]
    fn an_expression_reads_back_as_printed(expression in expression()) {
        let expression = flat(expression);
        let printed = expression.to_string();
        if printed.matches(" XOR ").count() <= machine::text::expression::MOST_XORS {
            let again = parse(&printed).map_err(|mistake| TestCaseError::fail(format!("{printed}: {mistake:?}")))?;
            prop_assert_eq!(bare(&again), bare(&expression), "{}", printed);
        }
    }

    #[test]
    fn any_list_is_drafted_or_refused(cells in prop::collection::vec((any::<bool>(), "[XYESAIQ][0-9]{1,2}", "\\PC{0,24}"), 0..12)) {
        let lines: Vec<String> = cells
            .iter()
            .map(|(before, address, words)| if *before { format!("{address};{words}") } else { format!("{words};{address}") })
            .collect();
        if let Ok(draft) = machine::draft::draft("List", lines.join("\n").as_bytes()) {
            let reading = read(Source::new("draft.toml", draft.text.clone()), &[]);
            let broken = reading.problems.iter().find(|problem| problem.is_error());
            prop_assert!(broken.is_none(), "{:?}\n{}", broken, draft.text);
        }
    }

    #[test]
    fn a_time_reads_back_as_printed(ms in 0_u64..=time::LONGEST_MS) {
        prop_assert_eq!(time::parse_time(&time::show_time(ms)), Ok(ms));
    }
}
