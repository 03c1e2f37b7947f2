//! A drafted machine file can be read, and its guesses are what a person would guess.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::draft::{Draft, DraftError, draft};
use machine::{Source, read};

/// Drafts, and holds the draft against lint.
fn drafted(list: &[u8]) -> Draft {
    let draft = draft("Test machine", list).unwrap();
    let reading = read(Source::new("draft.toml", draft.text.clone()), &[]);
    let shown: Vec<String> = reading
        .lint()
        .iter()
        .filter(|problem| problem.is_error())
        .map(|problem| problem.render(&reading.sources, false))
        .collect();
    assert!(shown.is_empty(), "{}\n{}", draft.text, shown.join("\n"));
    draft
}

fn has(draft: &Draft, line: &str) {
    assert!(draft.text.contains(line), "no {line} in\n{}", draft.text);
}

#[test]
fn the_demo_list_gives_a_readable_file() {
    let draft = drafted(include_bytes!("../../../demos/io-list.csv"));
    assert_eq!((draft.points, draft.left_out.len()), (12, 0));
    has(&draft, "X2 = { tag = \"S1\", is = \"push-button-no\", lit = \"start = pressed\"");
    has(&draft, "X3 = { tag = \"S2\", is = \"push-button-nc\", lit = \"stop = released\"");
    has(&draft, "lit = \"guard_door = shut\"");
    has(&draft, "X5 = { tag = \"B3\", is = \"reed-switch\", lit = \"roller = forward\"");
    has(&draft, "X7 = { tag = \"B5\", is = \"pressure-switch\", lit = \"air\"");
    has(&draft, "Y0 = { tag = \"V1\", is = \"solenoid-valve-single\", moves = \"roller forward\"");
    has(&draft, "Y2 = { tag = \"H1\", is = \"indicator-lamp\", words");
    for line in draft.text.lines().filter(|line| line.starts_with(['X', 'Y'])) {
        assert!(line.contains("# please confirm"), "{line}");
    }
}

#[test]
fn a_german_list_with_semicolons_in_the_old_encoding() {
    let text = "Adresse;BMK;Kommentar\r\nE0.0;S1;Start Taster\r\nE0.1;S2;Stopp Halttaster\r\nE0.2;B1;Schutzt\u{fc}r geschlossen, T\u{fc}rschalter\r\n\
                E0.3;B2;Hubzylinder oben, Reedschalter\r\nE0.4;B3;Hubzylinder unten, Reedschalter\r\nE0.5;;Reserve\r\n\
                A0.0;Y1;Hubzylinder unten, Magnetventil\r\nA0.1;Y2;Hubzylinder oben, Magnetventil\r\nA0.2;H1;Meldeleuchte St\u{f6}rung\r\n";
    let old: Vec<u8> = text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
    let draft = drafted(&old);
    assert_eq!(draft.points, 9);
    has(&draft, "lit = \"schutztuer = shut\"");
    has(&draft, "\"E0.3\" = { tag = \"B2\", is = \"reed-switch\", lit = \"hubzylinder = up\"");
    has(&draft, "\"A0.0\" = { tag = \"Y1\", is = \"solenoid-valve-double\", moves = \"hubzylinder down\"");
    has(&draft, "\"E0.5\" = \"spare\"");
}

#[test]
fn a_spanish_list_without_headers_and_with_tabs() {
    let draft = drafted(
        "E0\tS1\tpulsador marcha\nE1\tB1\tpuerta cerrada, interruptor de puerta\nS0\tV1\tmordaza cerrar, electroválvula\n\
         S1\tM1\tbomba de producto\n"
            .as_bytes(),
    );
    assert_eq!(draft.points, 4);
    has(&draft, "lit = \"marcha = pressed\", words = \"pulsador marcha (S1)\"");
    has(&draft, "lit = \"puerta = shut\"");
    has(&draft, "moves = \"mordaza shut\"");
}

#[test]
fn what_is_no_list_is_refused_with_a_hint() {
    assert_eq!(draft("x", b"").unwrap_err(), DraftError::Empty);
    assert_eq!(draft("x", b"PK\x03\x04").unwrap_err(), DraftError::Spreadsheet);
    assert_eq!(draft("x", b"one,two\nthree,four\n").unwrap_err(), DraftError::NoAddresses);
    assert_eq!(draft("x", &vec![b'x'; 1_000_001]).unwrap_err(), DraftError::TooLarge);
    for error in [DraftError::Empty, DraftError::Spreadsheet, DraftError::NoAddresses, DraftError::TooLarge] {
        assert!(!error.hint().is_empty() && !error.to_string().is_empty());
    }
}

#[test]
fn rows_that_are_no_points_are_named() {
    let draft = drafted(b"address,words\nX0,start button\nX0,again\nM100,a flag\nnotes,none\n");
    assert_eq!(draft.points, 1);
    assert_eq!(draft.left_out.len(), 3, "{:?}", draft.left_out);
}
