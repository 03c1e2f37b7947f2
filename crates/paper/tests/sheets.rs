//! The sheets of the demo machines, as they come out of the crate: drawings word for word, and what must be true
//! of every page.
//!
//! Some checks use programs of Debian's packages `qpdf` and `poppler-utils`, which `.ci/run` installs where it may;
//! without them they say that they were skipped.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::BTreeSet;
use std::io::Write as _;
use std::process::{Command, Stdio};

use diagnose::call::{Entry, Kind};
use machine::caution::Caution;
use machine::model::PointUse;
use machine::{Alternative, Choice, Machine, Source};
use paper::document::{Block, Sheet, Span, Style};
use paper::render::{html, pdf, svg};
use paper::{Desk, Language, PageSize, Request, entry};

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];

fn alternatives(name: &str) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let reading = machine::read(Source::new(format!("{name}.toml"), text), &[]);
    let revision = reading.revisions().first().map(|revision| revision.name.clone());
    reading.resolve(&Choice { revision, ..Choice::default() }).alternatives
}

fn desk<'a>(alternatives: &'a [Alternative], name: &str, language: Language) -> Desk<'a> {
    Desk::new(alternatives, &format!("{name}.toml"), None, language).unwrap()
}

/// Sheets that need no diagnosis.
fn quick() -> Vec<Request> {
    vec![
        Request::Lamps,
        Request::LampChart,
        Request::Timing,
        Request::Chart,
        Request::Commissioning,
        Request::Procedures(None),
    ]
}

fn made(desk: &Desk<'_>, requests: &[Request], size: PageSize) -> Vec<Sheet> {
    requests.iter().flat_map(|request| desk.sheets(request, size).unwrap()).collect()
}

fn drawn(name: &str, request: &Request) -> String {
    let alternatives = alternatives(name);
    let desk = desk(&alternatives, name, Language::English);
    let sheets = desk.sheets(request, PageSize::A4).unwrap();
    svg::svg(desk.head(), &sheets[0], PageSize::A4).unwrap()
}

/// All runs of letters of some blocks, in cells and cards as well.
fn spans(blocks: &[Block]) -> Vec<Span> {
    let mut all = Vec::new();
    for block in blocks {
        match block {
            Block::Text(list) => all.extend_from_slice(list),
            Block::Table(table) => all.extend(table.rows.iter().flatten().flatten().cloned()),
            Block::Beside(lists) => lists.iter().for_each(|list| all.extend(spans(list))),
            Block::Card(card) => {
                all.extend_from_slice(&card.words);
                for answer in &card.answers {
                    all.extend_from_slice(&answer.words);
                    all.extend_from_slice(&answer.then);
                    all.extend(answer.in_turn.iter().flatten().cloned());
                }
            }
            Block::Heading(_) | Block::Caution(_) | Block::Drawing(_) | Block::NewPage => {}
        }
    }
    all
}

/// Runs a program on a file, where it is there.
fn run(program: &str, arguments: &[&str], input: &[u8]) -> Option<(bool, String)> {
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .inspect_err(|error| eprintln!("skipped: {program} can't be run ({error})"))
        .ok()?;
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let writer = std::thread::spawn(move || stdin.write_all(&input));
    let output = child.wait_with_output().unwrap();
    // A program that reads no more than it needs is no mistake.
    _ = writer.join().unwrap();
    Some((output.status.success(), String::from_utf8_lossy(&output.stdout).into_owned()))
}

#[test]
fn the_chart_of_the_capper_as_a_drawing() {
    insta::assert_snapshot!(drawn("minimal", &Request::Chart));
}

#[test]
fn parallel_branches_and_jumps_as_a_drawing() {
    insta::assert_snapshot!(drawn("lidding-line", &Request::Chart));
}

#[test]
fn the_lamp_chart_of_the_capper_as_a_drawing() {
    insta::assert_snapshot!(drawn("minimal", &Request::LampChart));
}

#[test]
fn the_timing_diagram_of_the_capper_as_a_drawing() {
    insta::assert_snapshot!(drawn("minimal", &Request::Timing));
}

#[test]
fn drawings_are_well_formed_xml_with_texts_that_are_texts() {
    for name in DEMOS {
        let text = drawn(name, &Request::Chart);
        let (mut open, mut texts) = (0, 0);
        for line in text.lines() {
            open += line.matches("<svg ").count() as i32 - line.matches("</svg>").count() as i32;
            texts += line.matches("<text ").count();
            assert!(!line.contains("NaN") && !line.contains("inf"), "{name}: {line}");
        }
        assert_eq!(open, 0);
        assert!(texts > 20, "{name}: {texts} texts");
    }
}

#[test]
fn the_lamp_sheet_is_one_page_on_both_papers() {
    // The largest machine, on the shorter paper in the language with the longest words.
    for (language, size) in [(Language::English, PageSize::A4), (Language::German, PageSize::LETTER)] {
        let alternatives = alternatives("lidding-line");
        let desk = desk(&alternatives, "lidding-line", language);
        let sheets = desk.sheets(&Request::Lamps, size).unwrap();
        assert_eq!(pdf::page_count(desk.head(), &sheets, size, false).unwrap(), 1, "{size:?}");
    }
}

#[test]
fn the_same_sheets_give_the_same_bytes() {
    let once = || {
        let alternatives = alternatives("jar-filler");
        let desk = desk(&alternatives, "jar-filler", Language::Spanish);
        let sheets = made(&desk, &[Request::Chart, Request::Procedures(None)], PageSize::A4);
        (pdf::pdf(desk.head(), &sheets, PageSize::A4, true).unwrap(), html::html(desk.head(), &sheets))
    };
    assert!(once() == once());
}

#[test]
fn every_tag_and_label_stands_on_the_commissioning_sheet_and_every_page_says_what_comes_first() {
    for name in DEMOS {
        let alternatives = alternatives(name);
        let desk = desk(&alternatives, name, Language::English);
        let machine = desk.machine();
        let sheets = made(&desk, &[Request::Commissioning], PageSize::A4);
        let bytes = pdf::pdf(desk.head(), &sheets, PageSize::A4, false).unwrap();
        let Some((good, text)) = run("pdftotext", &["-layout", "-", "-"], &bytes) else { return };
        assert!(good, "{name}");
        let words: BTreeSet<&str> = text.split_whitespace().collect();
        for input in machine.inputs.rows().filter(|row| row.usage == PointUse::Used) {
            assert!(
                words.contains(input.tag.as_str()) && words.contains(input.label.as_str()),
                "{name}: {}",
                input.tag
            );
        }
        for output in machine.outputs.rows().filter(|row| row.usage == PointUse::Used && row.label.is_some()) {
            assert!(words.contains(output.tag.as_str()), "{name}: {}", output.tag);
        }
        let pages: Vec<&str> = text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
        assert!(!pages.is_empty());
        for page in pages {
            assert!(page.contains(Caution::ManualFirst.english()), "{name}: {page}");
            assert!(page.contains(&desk.head().file), "{name}: {page}");
        }
    }
}

#[test]
fn texts_of_drawings_can_be_selected_in_the_pdf() {
    let alternatives = alternatives("lidding-line");
    let desk = desk(&alternatives, "lidding-line", Language::English);
    let sheets = made(&desk, &[Request::Chart], PageSize::LETTER);
    let bytes = pdf::pdf(desk.head(), &sheets, PageSize::LETTER, false).unwrap();
    let Some((_, text)) = run("pdftotext", &["-layout", "-", "-"], &bytes) else { return };
    for step in desk.machine().steps.rows() {
        assert!(text.contains(&step.name), "{}", step.name);
    }
}

/// A word on a page: left, top, right, bottom, and what it says.
type Word = ([f64; 4], String);

/// The words of each page, with the width and height of the page, as `pdftotext -bbox` tells them.
fn words(told: &str) -> Vec<(f64, f64, Vec<Word>)> {
    let number = |line: &str, name: &str| -> f64 {
        let from = line.split_once(&format!("{name}=\"")).unwrap().1;
        from.split_once('"').unwrap().0.parse().unwrap()
    };
    let mut pages: Vec<(f64, f64, Vec<Word>)> = Vec::new();
    for line in told.lines().map(str::trim) {
        if line.starts_with("<page ") {
            pages.push((number(line, "width"), number(line, "height"), Vec::new()));
        } else if line.starts_with("<word ") {
            let text = line.split_once('>').unwrap().1.trim_end_matches("</word>").to_owned();
            let place = ["xMin", "yMin", "xMax", "yMax"].map(|name| number(line, name));
            pages.last_mut().unwrap().2.push((place, text));
        }
    }
    pages
}

#[test]
fn in_all_binders_a_checker_finds_no_mistake_and_no_word_is_over_another_or_cut_off() {
    // Every demo, language and paper, but not each with each.
    for (name, language, size) in [
        ("minimal", Language::Spanish, PageSize::LETTER),
        ("jar-filler", Language::English, PageSize::A4),
        ("parts-washer", Language::Spanish, PageSize::A4),
        ("lidding-line", Language::German, PageSize::LETTER),
    ] {
        let alternatives = alternatives(name);
        let desk = desk(&alternatives, name, language);
        let mut requests = quick();
        requests.extend([Request::Symptoms, Request::CheckTree]);
        let bytes = pdf::pdf(desk.head(), &desk.all(&requests, size).unwrap(), size, true).unwrap();
        // Readers built on poppler warn of this entry.
        assert!(!bytes.windows(9).any(|part| part == b"/Suspects"));
        let file = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("checked-{name}.pdf"));
        std::fs::write(&file, &bytes).unwrap();
        if let Some((good, text)) = run("qpdf", &["--check", &file.display().to_string()], &[]) {
            assert!(good, "{name}: {text}");
        }
        let Some((good, told)) = run("pdftotext", &["-bbox", "-", "-"], &bytes) else { continue };
        assert!(good, "{name}");
        let pages = words(&told);
        assert!(pages.len() > 10, "{name}");
        let said: BTreeSet<&str> = pages.iter().flat_map(|page| &page.2).map(|(_, text)| text.as_str()).collect();
        let machine = desk.machine();
        for input in machine.inputs.rows().filter(|row| row.usage == PointUse::Used) {
            assert!(said.contains(input.tag.as_str()) && said.contains(input.label.as_str()), "{name}: {}", input.tag);
        }
        for (page, (width, height, words)) in pages.iter().enumerate() {
            assert!(words.len() > 10, "{name}, page {}", page + 1);
            for (index, ([left, top, right, bottom], text)) in words.iter().enumerate() {
                let inside = *left > size.side - 2.0 && *right < width - size.side + 2.0;
                assert!(inside && *top > 10.0 && *bottom < height - 10.0, "{name}, page {}: {text}", page + 1);
                for (other, beside) in &words[..index] {
                    let across = right.min(other[2]) - left.max(other[0]);
                    let down = bottom.min(other[3]) - top.max(other[1]);
                    // The boxes are as high as lines can be, letters are not.
                    let high = (bottom - top).min(other[3] - other[1]);
                    let apart = across < 1.0 || down < 0.45 * high;
                    assert!(apart, "{name}, page {}: `{text}` and `{beside}`", page + 1);
                }
            }
        }
    }
}

#[test]
fn a_last_page_with_two_steps_is_saved_by_smaller_letters() {
    let alternatives = alternatives("jar-filler");
    let desk = desk(&alternatives, "jar-filler", Language::English);
    let priming = made(&desk, &[Request::Procedures(Some("line_priming".to_owned()))], PageSize::A4);
    assert_eq!(pdf::page_count(desk.head(), &priming, PageSize::A4, false).unwrap(), 1);
}

#[test]
fn what_the_program_says_itself_is_in_the_language_of_the_sheet() {
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::German);
    let sheets = made(&desk, &[Request::CheckTree, Request::Symptoms], PageSize::A4);
    let text: String = sheets.iter().flat_map(|sheet| spans(&sheet.blocks)).map(|span| span.text + "\n").collect();
    for english in
        ["Which lamps", "left out", "forgotten", "goes dark", " lights", "on and off", "put it back", "was left"]
    {
        assert!(!text.contains(english), "{english}");
    }
    assert!(text.contains("Welche Lampen leuchten?") && text.contains("nachholen, was ausgelassen wurde"));
}

#[test]
fn a_call_report_is_in_the_language_of_the_sheet_but_for_what_was_said() {
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::German);
    let text = "lampwise call 1\nfile: x\nmachine: Jar capper\nversion: \nfingerprint: 0\n\ncomplaint: won't start\n\
                lamps: I2 off, rest on\nnote: rang twice\n";
    let record = Box::new(diagnose::call::Record::of_text(text).unwrap());
    let sheet = desk.sheets(&Request::Call { record, changed: false }, PageSize::A4).unwrap().remove(0);
    let said: BTreeSet<String> = spans(&sheet.blocks).into_iter().map(|span| span.text).collect();
    let told = [
        "Störungsbild",
        "sie startet nicht („won't start“)",
        "Lampen",
        "I2 dunkel; alle anderen leuchten",
        "rang twice",
    ];
    for word in told {
        assert!(said.contains(word), "{word}: {said:?}");
    }
}

/// Entries of every kind, with every check and its answers, every remedy, every position, and every key that can be asked.
fn every_entry(machine: &Machine) -> Vec<Entry> {
    let mut all = Vec::new();
    let mut put = |kind: Kind, text: &str| all.push(Entry::new(kind, text));
    for who in ["operator", "technician", "electrician"] {
        put(Kind::Who, who);
    }
    put(Kind::Hours, "12.5");
    put(Kind::AtOnce, "3");
    for event in ["moved", "cleaned", "repaired", "power_cut"] {
        put(Kind::Recently, event);
    }
    for complaint in
        ["wont-start", "stops-midway", "wont-finish", "wrong-result", "now and then", "wont-start, 1 in 20 cycles"]
    {
        put(Kind::Complaint, complaint);
    }
    for routine in machine.routines.rows() {
        put(Kind::Routine, &routine.name);
    }
    let actions = machine.routines.rows().next().map_or(&[][..], |routine| routine.actions.as_slice());
    for action in actions {
        put(Kind::Did, &action.short);
        put(Kind::Then, &action.short);
    }
    for deed in ["nothing", "power cycled", "powered on", "besides wait"] {
        put(Kind::Then, deed);
    }
    let labels: Vec<&str> =
        machine.lamp_rows.iter().flat_map(|row| &row.lamps).map(|lamp| lamp.label.as_str()).collect();
    let (one, two) = (labels[0], labels[1]);
    for text in [format!("{one} on, {two} flickers, rest off"), format!("{one} off"), "rest off".to_owned()] {
        put(Kind::Lamps, &text);
        put(Kind::Again, &text);
    }
    for row in machine.mechanisms.rows() {
        for place in row.positions.iter().map(String::as_str).chain(["between"]) {
            put(Kind::Saw, &format!("{} {place}", row.name));
        }
        put(Kind::Unknown, &format!("position:{}", row.name));
    }
    for check in machine.checks.rows() {
        for answer in &check.answers {
            put(Kind::Found, &format!("{}: {}", check.key, answer.key));
        }
        put(Kind::Unknown, &format!("check:{}", check.key));
    }
    for remedy in machine.remedies.rows() {
        put(Kind::Tried, &remedy.key);
        put(Kind::Cannot, &format!("remedy:{}", remedy.key));
    }
    for said in ["yes", "no", "as before"] {
        put(Kind::Runs, said);
    }
    for key in ["complaint", "did", "lamps", "go-on", "do:action-1", "do:power-cycle"] {
        put(Kind::Unknown, key);
        put(Kind::Cannot, key);
    }
    put(Kind::Cannot, &format!("lamp:{one}"));
    all
}

#[test]
fn every_entry_of_a_call_is_said_in_plain_words_of_each_language() {
    let mut wrong: BTreeSet<String> = BTreeSet::new();
    for name in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        let machine = &alternatives(name)[0].machine;
        let entries = every_entry(machine);
        let kinds: BTreeSet<Kind> = entries.iter().map(|entry| entry.kind).collect();
        assert_eq!(kinds.len(), Kind::ALL.len() - 1, "all but notes");
        let mut told: Vec<Vec<String>> = Vec::new();
        for language in Language::ALL {
            told.push((0..entries.len()).map(|at| entry::in_words(machine, language, &entries, at)).collect());
        }
        for (at, said) in entries.iter().enumerate() {
            for (language, told) in Language::ALL.iter().zip(&told) {
                let words = told[at].as_str();
                let place = format!("{name} {} {said}: {words}", language.tag());
                // A routine may have no words beside its name.
                let untold = words.is_empty()
                    || (words == said.text && *language != Language::English && said.kind != Kind::Routine);
                // "TRIP / 0" is of the trade, "Q3/handle" of the file.
                let is_key = |word: &str| word.contains('_') || word.trim_matches('/').contains('/');
                if untold || words.split_whitespace().any(is_key) {
                    wrong.insert(place.clone());
                }
                let parts: Vec<&str> = words.split(|letter: char| !letter.is_alphanumeric()).collect();
                let english = ["yes", "no", "lit", "dark", "did", "does", "between", "runs"];
                let foreign: &[&str] = match language {
                    Language::English => &[],
                    Language::German => &english,
                    // "no" is Spanish.
                    Language::Spanish => &["yes", "lit", "dark", "did", "does", "between", "runs"],
                };
                if foreign.iter().any(|word| parts.contains(word)) {
                    wrong.insert(place);
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_lamps_were_said_to_be_names_each_once_and_the_rest_by_what_was_said_before() {
    let machine = &alternatives("minimal")[0].machine;
    let entries: Vec<Entry> = ["I1 I2 on, I3 off", "I8 not looked at, rest off", "all on", "I4 flickers"]
        .iter()
        .map(|text| Entry::new(Kind::Lamps, text))
        .collect();
    let told = |language, at| entry::in_words(machine, language, &entries, at);
    assert_eq!(told(Language::German, 0), "I1 I2 leuchten; I3 dunkel");
    assert_eq!(told(Language::English, 1), "I8 not looked at; all others dark");
    assert_eq!(told(Language::German, 3), "I4 blinkt");
    assert_eq!(entry::in_words(machine, Language::Spanish, &entries[2..], 0), "todas encendidas");
    assert_eq!(entry::in_words(machine, Language::Spanish, &entries, 99), "");
}

#[test]
fn how_to_verify_that_it_runs_is_in_the_language_of_the_sheet() {
    let alternatives = alternatives("jar-filler");
    let desk = desk(&alternatives, "jar-filler", Language::German);
    let text = "lampwise call 1\nfile: x\nmachine: Jar filler\nversion: \nfingerprint: 0\n\ncomplaint: stops-midway\n\
                lamps: X3 X12 X14 Y0 Y6 on, rest off\ntried: lapse/air shut/make-good\nruns: yes\n";
    let record = Box::new(diagnose::call::Record::of_text(text).unwrap());
    let sheet = desk.sheets(&Request::Call { record, changed: false }, PageSize::A4).unwrap().remove(0);
    let mut blocks = sheet.blocks.iter().rev();
    let last = blocks.find_map(|block| if let Block::Card(card) = block { Some(card) } else { None }).unwrap();
    assert_eq!(last.words.last().unwrap().text, "Start drücken");
    assert!(
        last.cautions[0].contains("Halbdrehtisch: beim Beladen → beim Füllen → beim Beladen"),
        "{:?}",
        last.cautions
    );
    let said: Vec<String> = spans(&sheet.blocks).into_iter().map(|span| span.text).collect();
    assert!(said.contains(&"die Schutztür schließen".to_owned()), "{said:?}");
}

#[test]
fn places_and_units_are_in_the_language_of_the_sheet() {
    for name in ["jar-filler", "parts-washer", "lidding-line"] {
        let alternatives = alternatives(name);
        let machine = &alternatives[0].machine;
        for language in [Language::German, Language::Spanish] {
            let desk = desk(&alternatives, name, language);
            let requests = [Request::Lamps, Request::Commissioning];
            let sheets = made(&desk, &requests, PageSize::A4);
            let said: BTreeSet<String> =
                sheets.iter().flat_map(|sheet| spans(&sheet.blocks)).map(|span| span.text).collect();
            let used = machine.inputs.rows().filter(|row| row.usage == PointUse::Used).map(|row| &row.place);
            let settings = machine.settings.rows().map(|row| &row.place);
            let mut told = 0;
            for place in used.chain(settings) {
                assert!(said.contains(place.in_language(language.tag())), "{name} {}: {place:?}", language.tag());
                assert!(!said.contains(&place.english), "{name} {}: {place:?}", language.tag());
                told += 1;
            }
            assert!(told > 10, "{name}");
        }
    }
}

#[test]
fn a_part_of_a_chain_is_named_in_words_and_a_device_by_its_tag() {
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::German);
    let sheet = desk.sheets(&Request::CheckTree, PageSize::A4).unwrap().remove(0);
    let text = spans(&sheet.blocks).into_iter().map(|span| span.text).collect::<String>();
    assert!(!text.contains("I5 cable") && text.contains("I5: "), "{text}");
}

#[test]
fn titles_are_in_the_language_of_the_sheet() {
    let alternatives = alternatives("jar-filler");
    let titles = |language: Language| -> Vec<String> {
        let desk = desk(&alternatives, "jar-filler", language);
        made(&desk, &quick(), PageSize::A4).into_iter().map(|sheet| sheet.title).collect()
    };
    let [english, german, spanish] = Language::ALL.map(titles);
    for (index, title) in english.iter().enumerate() {
        assert!(*title != german[index] && *title != spanish[index] && german[index] != spanish[index], "{title}");
    }
}

#[test]
fn the_page_for_the_browser_needs_nothing_from_elsewhere() {
    let alternatives = alternatives("parts-washer");
    let desk = desk(&alternatives, "parts-washer", Language::English);
    let page = html::html(desk.head(), &made(&desk, &quick(), PageSize::A4));
    for outside in ["src=", "@import", "url(", "<script", "<link"] {
        assert!(!page.contains(outside), "{outside}");
    }
    // The name of a vocabulary is no address that anything is loaded from.
    assert_eq!(page.matches("http").count(), page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count());
    for input in desk.machine().inputs.rows().filter(|row| row.usage == PointUse::Used) {
        assert!(page.contains(&input.tag), "{}", input.tag);
    }
}

#[test]
fn the_check_tree_leads_from_card_to_card() {
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::English);
    let sheet = desk.sheets(&Request::CheckTree, PageSize::A4).unwrap().remove(0);
    let cards: Vec<_> =
        sheet.blocks.iter().filter_map(|block| if let Block::Card(card) = block { Some(card) } else { None }).collect();
    assert!(cards.len() > 3);
    for (index, card) in cards.iter().enumerate() {
        assert_eq!(card.number, (index + 1).to_string());
    }
    let marks: BTreeSet<&str> = cards.iter().filter_map(|card| card.mark.as_deref()).collect();
    let all = spans(&sheet.blocks);
    let led: BTreeSet<&str> =
        all.iter().filter(|span| span.style == Style::Reference).filter_map(|span| span.to.as_deref()).collect();
    assert!(led.is_subset(&marks));
    // Three trees begin at cards that nothing leads to.
    assert_eq!(marks.len() - led.len(), 3);
}

#[test]
fn the_symptom_index_says_what_the_diagnosis_says_and_explains_its_marks() {
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::English);
    let sheet = desk.sheets(&Request::Symptoms, PageSize::A4).unwrap().remove(0);
    let cautions = |block: &Block| if let Block::Caution(texts) = block { texts.clone() } else { Vec::new() };
    let legend: Vec<String> = sheet.blocks.iter().flat_map(cautions).collect();
    let (mut cards, mut lettered) = (0, 0);
    for block in &sheet.blocks {
        let Block::Card(card) = block else { continue };
        cards += 1;
        let told: Vec<&str> = card
            .answers
            .iter()
            .flat_map(|answer| &answer.then)
            .filter(|span| span.style == Style::Plain)
            .map(|span| span.text.as_str())
            .collect();
        let once: BTreeSet<&str> = told.iter().copied().filter(|text| text.len() > 20).collect();
        assert_eq!(once.len(), told.iter().filter(|text| text.len() > 20).count(), "{told:?}");
        // Whoever is to measure something is told what.
        assert!(!told.iter().any(|text| text.contains("This is for an electrician")), "{told:?}");
        let first = &card.answers[0];
        assert!(first.words[0].text.ends_with('%') && !first.then[0].text.is_empty());
        for span in card.answers.iter().flat_map(|answer| &answer.then) {
            let marks = span.text.strip_prefix("!\u{a0}").filter(|_| span.style == Style::Strong);
            for mark in marks.unwrap_or_default().split_whitespace().filter(|word| word.len() == 1) {
                assert!(legend.iter().any(|text| text.starts_with(&format!("{mark} "))), "{}", span.text);
                lettered += 1;
            }
        }
    }
    assert!(cards >= 4 && lettered > 0, "{cards}, {lettered}");
}

#[test]
fn a_saved_call_becomes_a_report() {
    let text = "lampwise call 1\nfile: minimal.toml\nmachine: Jar capper\nversion: \nfingerprint: 0\n\n\
                complaint: it won't start\ndid: pressed start\nlamps: I1-I4 I7 on, rest off\n";
    let record = diagnose::call::Record::of_text(text).unwrap();
    let alternatives = alternatives("minimal");
    let desk = desk(&alternatives, "minimal", Language::English);
    let request = Request::Call { record: Box::new(record.clone()), changed: true };
    let sheet = desk.sheets(&request, PageSize::A4).unwrap().remove(0);
    let all: Vec<String> = spans(&sheet.blocks).into_iter().map(|span| span.text).collect();
    for told in ["it won't start", "press start", "I1 I2 I3 I4 I7 lit; all others dark"] {
        assert!(all.iter().any(|text| text == told), "{told}: {all:?}");
    }
    assert!(all.iter().any(|text| text.contains("I8")), "{all:?}");
    let wrong = "lampwise call 1\nfile: minimal.toml\nmachine: Jar capper\n\nlamps: X99 on\n";
    let record = Box::new(diagnose::call::Record::of_text(wrong).unwrap());
    let error = desk.sheets(&Request::Call { record, changed: false }, PageSize::A4).unwrap_err();
    assert!(error.to_string().contains("entry 1"), "{error}");
}

#[test]
fn a_procedure_that_is_not_there_is_told() {
    let alternatives = alternatives("jar-filler");
    let desk = desk(&alternatives, "jar-filler", Language::English);
    let error = desk.sheets(&Request::Procedures(Some("polishing".to_owned())), PageSize::A4).unwrap_err();
    assert!(error.hint.contains("first_start"), "{error}");
}
