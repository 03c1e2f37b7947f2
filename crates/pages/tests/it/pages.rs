//! Each page, and what can be done on it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use diagnose::Shelf;
use diagnose::call::code::{Entered, encode};
use diagnose::call::{Entry, Kind, fingerprint};
use diagnose::evidence::{Complaint, LampState, Naming};
use jiff::Timestamp;
use pages::{Office, Reached, ServeError, Serving, router};
use records::{Change, NewCall, NewMachine, NewVersion, Store};

use crate::support::{Browser, HERE, PRESS};

#[tokio::test]
async fn a_call_from_its_serial_number_to_its_finding() {
    let browser = Browser::new();
    let begun = browser.post("/calls", &[("serial", "PR-7")]).await;
    let call = begun.leads_to().to_owned();
    assert_eq!(call, "/calls/1");
    for (part, fields) in [
        ("answer", vec![("question", "complaint"), ("said", "1")]),
        ("answer", vec![("question", "did"), ("typed", "pressed start")]),
        ("lamps", vec![("lamp", "0.0.unseen"), ("lamp", "0.1.dark"), ("lamp", "0.2.unseen"), ("rest_dark", "yes")]),
    ] {
        let seen = browser.get(&call).await.field("seen");
        let fields: Vec<(&str, &str)> = fields.into_iter().chain([("seen", seen.as_str())]).collect();
        let taken = browser.post(&format!("{call}/{part}"), &fields).await;
        assert_eq!(taken.leads_to(), "/calls/1#next");
    }
    let page = browser.get(&call).await;
    // The fact first, then the causes; what was said stands there as it was understood.
    assert!(page.text.contains("Start needs (1 missing)"), "{}", page.text);
    assert!(page.text.contains("X2 off; rest off") || page.text.contains("X2 off"), "{}", page.text);
    let next = browser.get("/calls/1/next").await;
    let key = next.field("question");
    assert!(next.text.contains("name=\"said\""), "{}", next.text);
    let seen = page.field("seen");
    let left = browser.post("/calls/1/answer", &[("question", &key), ("leave", "unknown"), ("seen", &seen)]).await;
    assert_eq!(left.leads_to(), "/calls/1#next");
    let page = browser.get(&call).await;
    // What was left out stands there in words; its key only where it can be put right.
    assert!(page.text.contains("<span class=\"kind\">nobody knows</span>"), "{}", page.text);
    assert!(!page.text.contains(&format!("</span> {key}")), "{}", page.text);
    let seen = page.field("seen");
    let fields = [
        ("cause", "X2/dead"),
        ("solved", "visit"),
        ("sure", "1"),
        ("minutes", "12,5"),
        ("visits", "1"),
        ("parts", "2 × reed switch, 14.50\n"),
        ("seen", seen.as_str()),
    ];
    assert_eq!(browser.post("/calls/1/end", &fields).await.leads_to(), "/calls/1");
    let closed = browser.get(&call).await;
    assert!(
        closed.text.contains("Solved by a visit") && closed.text.contains("2 × reed switch at 14.50"),
        "{}",
        closed.text
    );
    // A closed call keeps its finding, whoever closes it once more.
    let seen = closed.field("seen");
    let again = browser.post("/calls/1/end", &[("words", "overwritten"), ("sure", "1"), ("seen", &seen)]).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(!browser.get(&call).await.text.contains("overwritten"));
    let report = browser.get("/calls/1/report").await;
    assert!(report.text.contains("What has been ruled out"), "{}", report.text);
}

/// A shelf in memory: what was laid by, and how often something was taken up.
#[derive(Debug, Default)]
struct Memory(Mutex<(BTreeMap<String, Vec<u8>>, usize)>);

impl Shelf for Memory {
    fn take(&self, name: &str) -> Option<Vec<u8>> {
        let mut inside = self.0.lock().unwrap();
        let found = inside.0.get(name).cloned()?;
        inside.1 += 1;
        Some(found)
    }

    fn lay_by(&self, name: &str, bytes: &[u8]) {
        self.0.lock().unwrap().0.insert(name.to_owned(), bytes.to_vec());
    }
}

#[tokio::test]
async fn pages_that_begin_again_take_up_the_machine_that_was_worked_out() {
    let shelf = Arc::new(Memory::default());
    let counts = || {
        let inside = shelf.0.lock().unwrap();
        (inside.0.len(), inside.1)
    };
    let mut shown = Vec::new();
    for begun in 0..2 {
        let clock = || "2026-03-01T09:00:00Z".parse().unwrap();
        let taken: Arc<dyn Shelf> = Arc::<Memory>::clone(&shelf);
        let browser = Browser::at(|office| office.with_shelf(taken).with_clock(clock));
        let call = browser.post("/calls", &[("serial", "PR-7")]).await.leads_to().to_owned();
        let fields = [("question", "complaint"), ("said", "1"), ("seen", "0")];
        browser.post(&format!("{call}/answer"), &fields).await.leads_to();
        shown.push(browser.get(&call).await.text);
        assert_eq!(counts(), (1, begun));
    }
    assert!(shown[0].contains("Where it stands") && shown[0] == shown[1], "{}", shown[0]);
}

#[tokio::test]
async fn what_was_said_stands_there_in_words() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    for (kind, text) in [
        ("complaint", "wont-start, 1 in 20 cycles"),
        ("found", "X2/own-led: off"),
        ("tried", "X2/replace"),
        ("unknown", "check:X3/own-led"),
        ("cannot", "remedy:X3/replace"),
        ("unknown", "lamp:X1"),
        ("unknown", "position:ram"),
        ("note", "check:X3/own-led"),
    ] {
        let seen = browser.get("/calls/1").await.field("seen");
        let taken = browser.post("/calls/1/say", &[("kind", kind), ("text", text), ("seen", &seen)]).await;
        assert_eq!(taken.status, StatusCode::SEE_OTHER, "{kind} {text}: {}", taken.text);
    }
    let page = browser.get("/calls/1").await.text;
    let said: Vec<&str> = page[page.find("What was said").unwrap()..]
        .split("<span class=\"kind\">")
        .skip(1)
        .map(|rest| rest.split("</summary>").next().unwrap())
        .collect();
    let reading = machine::read(machine::Source::new("Press", PRESS), &[]);
    let machine = reading.resolve(&machine::Choice::default()).alternatives.remove(0).machine;
    let check = machine.checks.rows().find(|check| check.key == "X2/own-led").unwrap();
    let off = check.answers.iter().find(|answer| answer.key == "off").unwrap();
    let remedy = |key: &str| machine.remedies.rows().find(|one| one.key == key).unwrap().words.english.clone();
    let expected = [
        "complaint</span> it won't start, once in 20 cycles".to_owned(),
        format!("checked</span> {} – {}", check.operator.english, off.words.english),
        format!("tried</span> X2: {}", remedy("X2/replace")),
        format!("nobody knows</span> {}", check.operator.english.replace("X2 (ram is up)", "X3 (ram is down)")),
        format!("nobody there can do</span> X3: {}", remedy("X3/replace")),
        "nobody knows</span> Is lamp X1 lit?".to_owned(),
        "nobody knows</span> Where does it stand: ram?".to_owned(),
        "note</span> check:X3/own-led".to_owned(),
    ];
    let unescaped: Vec<String> = said.iter().map(|one| one.replace("&quot;", "\"").replace("&amp;", "&")).collect();
    assert_eq!(unescaped, expected);
    let report = browser.get("/calls/1/report").await.text;
    assert!(report.contains("Is lamp X1 lit?") && report.contains("it won't start, once in 20 cycles"), "{report}");
}

#[tokio::test]
async fn a_mistake_in_closing_stands_beside_its_field_and_what_was_typed_is_kept() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let seen = browser.get("/calls/1").await.field("seen");
    let fields = [
        ("cause", "X2/dead"),
        ("words", "the <b>plug</b>"),
        ("solved", "visit"),
        ("sure", "0.8"),
        ("confirmed_by", "Ada"),
        ("minutes", "many"),
        ("visits", "1001"),
        ("parts", "2 × reed switch, 14.50\n0 x fuse"),
    ];
    let with = |change: &[(&'static str, &'static str)]| -> Vec<(&str, String)> {
        let mut all: Vec<(&str, String)> = fields.iter().map(|(name, value)| (*name, (*value).to_owned())).collect();
        for (name, value) in change {
            all.iter_mut().find(|(known, _)| known == name).unwrap().1 = (*value).to_owned();
        }
        all
    };
    let send = async |fields: Vec<(&str, String)>, seen: &str| {
        let mut fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        fields.push(("seen", seen));
        browser.post("/calls/1/end", &fields).await
    };
    let shown = send(with(&[]), &seen).await;
    assert_eq!(shown.status, StatusCode::UNPROCESSABLE_ENTITY);
    let text = &shown.text;
    for (field, why) in [
        ("minutes", "is no number"),
        ("visits", "is not to be believed"),
        ("parts", "so many parts are not to be believed"),
    ] {
        let at = text.find(&format!("id=\"wrong-{field}\"")).unwrap_or_else(|| panic!("{field}: {text}"));
        assert!(text[at..at + 200].contains(why), "{field}");
        assert!(text.contains(&format!("aria-describedby=\"wrong-{field}\"")), "{field}");
    }
    assert!(!text.contains("wrong-words") && text.matches("role=\"alert\"").count() == 1);
    // All that was typed is still there.
    for kept in [
        "<details open>",
        "value=\"X2/dead\" id=\"cause-",
        "value=\"the &lt;b&gt;plug&lt;/b&gt;\"",
        "value=\"visit\" checked",
        "value=\"0.8\" selected",
        "value=\"Ada\"",
        "value=\"many\"",
        "value=\"1001\"",
        "2 × reed switch, 14.50\n0 x fuse</textarea>",
    ] {
        assert!(text.contains(kept), "{kept}: {text}");
    }
    let at = text.find("value=\"X2/dead\"").unwrap();
    assert!(text[at..at + 40].contains("checked"), "{}", &text[at..at + 60]);
    // Somebody else says something meanwhile: what was typed is kept too, and can be sent once more.
    browser.post("/calls/1/say", &[("kind", "note"), ("text", "loud"), ("seen", &seen)]).await;
    let right = || with(&[("minutes", "12"), ("visits", "1"), ("parts", "fuse")]);
    let late = send(right(), &seen).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.text.contains("another window") && late.text.contains("loud") && late.text.contains("value=\"Ada\""));
    let now = late.field("seen");
    assert_eq!(send(right(), &now).await.status, StatusCode::SEE_OTHER);
    assert!(browser.get("/calls/1").await.text.contains("Solved by a visit"));
    // Nothing chosen at all, and two things that can't both be.
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let nothing = browser.post("/calls/2/end", &[("seen", "0"), ("sure", "1")]).await;
    assert!(nothing.text.contains("id=\"wrong-cause\"") && nothing.text.contains("Nothing says what it was"));
    let both = [("cause", "X2/dead"), ("cause", "-nothing"), ("seen", "0")];
    assert!(browser.post("/calls/2/end", &both).await.text.contains("Nothing was wrong, and something was"));
}

#[tokio::test]
async fn an_entry_that_can_not_be_read_can_be_taken_out() {
    let now: Timestamp = "2026-03-01T09:00:00Z".parse().unwrap();
    let mut store = Store::in_memory().unwrap();
    let added = store.add_version(&NewVersion { name: "press", text: PRESS, ..NewVersion::default() }, now).unwrap();
    let new = NewCall::Of { machine_type: added.machine_type, choice: machine::Choice::default() };
    let call = store.begin_call(&new, now).unwrap();
    let entries = vec![Entry::new(Kind::Complaint, "won't start"), Entry::new(Kind::Lamps, "I99 on")];
    store.change(call, 0, &Change::Add(entries), now).unwrap();
    let browser = Browser { pages: router(Arc::new(Office::new(store, HERE.parse().unwrap()))) };
    let page = browser.get("/calls/1").await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    assert!(page.text.contains("This can't be read and is left out"), "{}", page.text);
    let seen = page.field("seen");
    browser.post("/calls/1/say", &[("kind", "note"), ("text", "loud"), ("seen", &seen)]).await.leads_to();
    let seen = browser.get("/calls/1").await.field("seen");
    browser.post("/calls/1/change", &[("what", "remove"), ("at", "1"), ("seen", &seen)]).await.leads_to();
    let page = browser.get("/calls/1").await;
    assert!(
        !page.text.contains("I99") && page.text.contains("loud") && page.text.contains("won't start"),
        "{}",
        page.text
    );
}

#[tokio::test]
async fn two_machines_with_the_same_number_are_told_apart() {
    let browser = Browser::new();
    let other = PRESS.replace("\"Press\"", "\"Stamp\"");
    browser.post("/machines", &[("machine_type", "1"), ("serial", "PR-8")]).await.leads_to();
    let mut store = Store::in_memory().unwrap();
    let now: Timestamp = "2026-03-01T09:00:00Z".parse().unwrap();
    for (name, text) in [("press", PRESS), ("stamp", other.as_str())] {
        let added = store.add_version(&NewVersion { name, text, ..NewVersion::default() }, now).unwrap();
        let new = NewMachine { serial: "PR-7".into(), ..NewMachine::of(added.machine_type) };
        store.add_machine(&new, now).unwrap();
    }
    let browser = Browser { pages: router(Arc::new(Office::new(store, HERE.parse().unwrap()))) };
    let asked = browser.post("/calls", &[("serial", "PR-7")]).await;
    assert!(asked.text.contains("Which one?"), "{}", asked.text);
    let call = browser.post("/calls", &[("machine", "2")]).await;
    assert!(browser.get(call.leads_to()).await.text.contains("Stamp"));
    // A serial number that is in the records is that machine, also when the type was chosen by hand.
    let call = browser.post("/calls", &[("machine_type", "press"), ("serial", "PR-7")]).await;
    assert!(browser.get(call.leads_to()).await.text.contains("/machines/1"));
}

#[tokio::test]
async fn what_the_server_refuses_is_a_page_too() {
    let browser = Browser::new();
    for (address, status) in [
        ("/calls/abc", StatusCode::BAD_REQUEST),
        ("/figures?days=9999999999999999999999", StatusCode::UNPROCESSABLE_ENTITY),
        ("/figures?lead=NaN", StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        let page = browser.get(address).await;
        assert_eq!(page.status, status, "{address}");
        assert!(page.text.contains("That did not work") && !page.text.contains("i64"), "{address}: {}", page.text);
    }
    let missing = browser.post("/machines", &[("notes", "no serial")]).await;
    assert!(missing.status.is_client_error() && missing.text.contains("is missing"), "{}", missing.text);
    let last = browser.post("/practice/press/fault/18446744073709551615", &[("end", "give-up")]).await;
    assert_eq!(last.status, StatusCode::OK, "{}", last.text);
    assert!(!last.text.contains("The next exercise"));
}

#[tokio::test]
async fn a_call_goes_on_from_the_code_of_an_offline_guide() {
    let browser = Browser::new();
    let reading = machine::read(machine::Source::new("Press", PRESS), &[]);
    let print = fingerprint(reading.sources.iter().map(|source| source.text.as_str()));
    let machine = reading.resolve(&machine::Choice::default()).alternatives.remove(0).machine;
    let named = |state| Some((state, Naming::Named));
    let lamps = vec![named(LampState::Lit), named(LampState::Dark), None];
    let entered = Entered { complaint: Some(Complaint::WontStart), lamps, ..Entered::default() };
    let code = encode(&machine, &print, &entered).unwrap();
    let call = browser.post("/calls", &[("code", &code.to_lowercase())]).await;
    let page = browser.get(call.leads_to()).await;
    assert!(page.text.contains("X1 on") && page.text.contains("X2 off"), "{}", page.text);
    // One letter that was misheard is noticed, and no call is begun.
    let last = code.chars().last().unwrap();
    let other = if last == '7' { '8' } else { '7' };
    let misread: String = code.chars().take(code.chars().count() - 1).chain([other]).collect();
    let refused = browser.post("/calls", &[("code", &misread)]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text.contains("misread"), "{}", refused.text);
    assert_eq!(browser.get("/calls/2").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_procedure_is_led_kept_and_turns_into_a_call() {
    let browser = Browser::new();
    let address = "/machines/1/procedures/stroke";
    assert!(browser.get("/machines/1").await.text.contains(address));
    let first = browser.get(address).await;
    assert!(first.text.contains("Step 1 of 2") && first.text.contains("X2 (ram is up)"), "{}", first.text);
    let second = browser.post(address, &[("measured", ""), ("confirmed", ""), ("seen", "as due")]).await;
    // What moves is said before the words.
    let (moves, words) = (second.text.find("This will move").unwrap(), second.text.find("Press start.").unwrap());
    assert!(moves < words && second.text.contains("40 to 60 mm"), "{}", second.text);
    let done = [
        ("seen", "as due"),
        ("measured", ""),
        ("confirmed", ""),
        ("seen", "as due"),
        ("measured", "72,5"),
        ("confirmed", ""),
    ];
    let end = browser.post(address, &done).await;
    assert!(end.text.contains("72.5 mm") && end.text.contains("outside its limits"), "{}", end.text);
    let kept: Vec<(&str, &str)> = done.into_iter().chain([("then", "keep"), ("done_by", "Ada")]).collect();
    browser.post(address, &kept).await.leads_to();
    let machine = browser.get("/machines/1").await;
    assert!(machine.text.contains("by Ada") && machine.text.contains("stroke: 72.5 mm"), "{}", machine.text);
    // Otherwise than expected: looked at once more, then a call with all that was seen.
    let wrong = [("seen", "X2 off"), ("measured", ""), ("confirmed", "")];
    let asked = browser.post(address, &wrong).await;
    assert!(asked.text.contains("X2 is dark and should be lit") && asked.text.contains("It is so"), "{}", asked.text);
    let so: Vec<(&str, &str)> = wrong.into_iter().chain([("then", "so")]).collect();
    let so = browser.post(address, &so).await;
    assert!(so.text.contains("Find out why"), "{}", so.text);
    let sure = [("seen", "X2 off"), ("measured", ""), ("confirmed", "yes"), ("then", "call")];
    let call = browser.post(address, &sure).await;
    let page = browser.get(call.leads_to()).await;
    assert!(page.text.contains("X2 off") && page.text.contains("What it can be"), "{}", page.text);
    assert_eq!(browser.post(address, &[("seen", "X9 nonsense")]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(browser.get("/machines/1/procedures/none").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn of_two_windows_on_a_call_the_slower_is_told_and_nothing_is_lost() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let seen = browser.get("/calls/1").await.field("seen");
    let first = browser.post("/calls/1/say", &[("kind", "note"), ("text", "smells hot"), ("seen", &seen)]).await;
    first.leads_to();
    let second = browser.post("/calls/1/say", &[("kind", "note"), ("text", "is loud"), ("seen", &seen)]).await;
    assert_eq!(second.status, StatusCode::CONFLICT);
    assert!(
        second.text.contains("smells hot") && second.text.contains("Not taken: &quot;<strong>is loud"),
        "{}",
        second.text
    );
    let seen = second.field("seen");
    browser.post("/calls/1/say", &[("kind", "note"), ("text", "is loud"), ("seen", &seen)]).await.leads_to();
    let page = browser.get("/calls/1").await;
    assert!(page.text.contains("smells hot") && page.text.contains("is loud"), "{}", page.text);
    // The last change is taken back, and an entry put right.
    let seen = page.field("seen");
    browser.post("/calls/1/change", &[("what", "undo"), ("seen", &seen)]).await.leads_to();
    let page = browser.get("/calls/1").await;
    assert!(!page.text.contains("is loud"), "{}", page.text);
    let seen = page.field("seen");
    let put_right = [("what", "replace"), ("at", "0"), ("text", "smells of burning"), ("seen", seen.as_str())];
    browser.post("/calls/1/change", &put_right).await.leads_to();
    assert!(browser.get("/calls/1").await.text.contains("smells of burning"));
}

#[tokio::test]
async fn what_can_not_be_understood_is_not_taken_and_says_why() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let seen = browser.get("/calls/1").await.field("seen");
    let wrong = browser.post("/calls/1/lamps", &[("typed", "X9 on"), ("seen", &seen)]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.text.contains("X9") && wrong.text.contains("role=\"alert\""), "{}", wrong.text);
    // Nothing was kept.
    assert_eq!(browser.get("/calls/1").await.field("seen"), seen);
    assert_eq!(browser.post("/calls", &[("serial", "PR-99")]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    let nowhere = browser.get("/calls/77").await;
    assert_eq!(nowhere.status, StatusCode::NOT_FOUND);
    assert!(
        nowhere.text.contains("look for it above") && !nowhere.text.contains("lampwise records"),
        "{}",
        nowhere.text
    );
    assert_eq!(browser.get("/nonsense").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_machine_file_is_saved_only_without_mistakes_which_stand_beside_their_lines() {
    let browser = Browser::new();
    let wrong = PRESS.replace("until ram = down", "until ramm = down");
    let refused = browser.post("/types/1/file", &[("text", &wrong), ("note", "a slip"), ("seen", "1")]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text.contains("Not saved") && refused.text.contains("ramm"), "{}", refused.text);
    assert!(!browser.get("/types/1").await.text.contains("No. 2"));
    let right = PRESS.replace("\"Press\"", "\"Press, newer\"");
    browser
        .post("/types/1/file", &[("text", &right.replace('\n', "\r\n")), ("note", "a new name"), ("seen", "1")])
        .await
        .leads_to();
    // Whoever changed the version before is told that there is a newer one.
    let late = browser.post("/types/1/file", &[("text", PRESS), ("note", "late"), ("seen", "1")]).await;
    assert_eq!(late.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(late.text.contains("another version"), "{}", late.text);
    let page = browser.get("/types/1").await;
    assert!(page.text.contains("No. 2") && page.text.contains("a new name"), "{}", page.text);
    // A call that was begun stays with its version.
    browser.post("/calls", &[("serial", "PR-7")]).await;
    assert!(browser.get("/calls/1").await.text.contains("Press, newer"));
}

#[tokio::test]
async fn figures_are_shown_at_once_and_made_anew_beside_that() {
    let browser = Browser::new();
    let calls = async || {
        let text = browser.get("/figures").await.text;
        let at = text.find(" calls from ").unwrap();
        text[..at].rsplit('>').next().unwrap().parse::<u32>().unwrap()
    };
    assert_eq!(calls().await, 0);
    browser.post("/calls", &[("serial", "PR-7")]).await;
    // The first to look after something was written sees what was known, and has it made anew.
    assert_eq!(calls().await, 0);
    for _ in 0..500 {
        if calls().await == 1 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    assert_eq!(calls().await, 1);
    // Other figures are other ones.
    assert!(browser.get("/figures?days=10&lead=3").await.text.contains("after 3 days"));
    assert_eq!(browser.get("/figures?level=2").await.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn all_pages_are_there() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    for address in [
        "/",
        "/calls",
        "/machines",
        "/machines?site=1",
        "/machines/1",
        "/types",
        "/types/1",
        "/types/1/devices",
        "/types/1/review",
        "/types/1/file",
        "/types/1/sheets/lamps.html",
        "/types/1/sheets/chart.svg",
        "/types/1/sheets/timing.html?language=de",
        "/figures",
        "/practice",
        "/practice/press/fault/1",
        "/search?for=quince",
        "/look.css",
        "/lamps.js",
        "/lamp.svg",
    ] {
        let page = browser.get(address).await;
        assert_eq!(page.status, StatusCode::OK, "{address}: {}", page.text);
        assert!(page.headers.contains_key(header::CONTENT_SECURITY_POLICY), "{address}");
        assert_eq!(page.headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
        // No page has a script or style of its own within, and what was typed is never taken for markup.
        if !address.contains("/sheets/") && page.text.starts_with("<!DOCTYPE") {
            assert!(!page.text.contains("style=\"") && !page.text.contains("<style"), "{address}");
            assert!(page.text.matches("<script").count() == 1, "{address}");
            assert!(!page.text.contains("<b>Works"), "{address}: {}", page.text);
        }
    }
}

#[tokio::test]
async fn practice_goes_on_from_what_the_form_carries() {
    let browser = Browser::new();
    let address = "/practice/press/fault/1";
    let looked = browser.post(address, &[("done", "lamps")]).await;
    assert!(looked.text.contains("So far: 1.5 min"), "{}", looked.text);
    let over = browser.post(address, &[("done", "lamps"), ("end", "give-up")]).await;
    assert!(
        over.text.contains("What puts it right") && over.text.contains("What the program would have done"),
        "{}",
        over.text
    );
    assert_eq!(browser.post(address, &[("done", "check:nonsense")]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(browser.get("/practice/press/nonsense/1").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn before_something_is_done_in_an_exercise_it_is_said_what_can_move() {
    let browser = Browser::new();
    let address = "/practice/press/fault/1";
    let page = browser.get(address).await.text;
    let about: Vec<&str> =
        page.split("<button name=\"about\" value=\"").skip(1).filter_map(|one| one.split('"').next()).collect();
    let mut announced = 0;
    for key in about {
        let asked = browser.post(address, &[("about", key)]).await.text;
        if !asked.contains("Before you do it") {
            assert!(!asked.contains("Nothing was done yet"), "{key} is done, as there is nothing to say before");
            continue;
        }
        assert!(asked.contains("Nothing was done yet"), "{key}: {asked}");
        announced += usize::from(asked.contains("This can move: ram"));
        let done = browser.post(address, &[("done", key)]).await.text;
        assert!(!done.contains("Nothing was done yet"), "{key}: {done}");
    }
    assert!(announced > 0);
    assert_eq!(browser.post(address, &[("about", "remedy:nonsense")]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
}

/// OWASP, Cross-Site Request Forgery Prevention Cheat Sheet (from memory): the origin of a request that changes
/// something is compared with the address of the server; DNS rebinding is met by looking at the name.
#[tokio::test]
async fn other_sites_can_change_nothing() {
    let browser = Browser::new();
    let request = |host: &str, headers: &[(&str, &str)]| {
        let mut request = Request::post("/calls").header(header::HOST, host);
        request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::from("serial=PR-7")).unwrap()
    };
    for (host, headers) in [
        (HERE, vec![("origin", "http://elsewhere.example")]),
        (HERE, vec![("origin", "null")]),
        (HERE, vec![("origin", "http://127.0.0.1:9999")]),
        (HERE, vec![("sec-fetch-site", "cross-site")]),
        ("elsewhere.example:8420", vec![("origin", "http://elsewhere.example:8420")]),
        ("127.0.0.1:9999", vec![]),
    ] {
        assert_eq!(browser.ask(request(host, &headers)).await.status, StatusCode::FORBIDDEN, "{host} {headers:?}");
    }
    assert!(browser.get("/calls").await.text.contains("None yet"));
    let read = Request::get("/").header(header::HOST, "elsewhere.example").body(Body::empty()).unwrap();
    assert_eq!(browser.ask(read).await.status, StatusCode::FORBIDDEN);
    let here = request("localhost:8420", &[("origin", "http://localhost:8420")]);
    assert_eq!(browser.ask(here).await.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn forms_that_are_too_large_are_refused() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let long = "x".repeat(200_000);
    let answer = browser.post("/calls/1/say", &[("kind", "note"), ("text", &long), ("seen", "0")]).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    let file = "x".repeat(4_000_000);
    let answer = browser.post("/types/1/file", &[("text", &file), ("seen", "1")]).await;
    assert!(answer.status.is_client_error(), "{}", answer.status);
}

#[test]
fn an_address_that_others_can_reach_in_the_clear_is_refused() {
    for address in ["0.0.0.0:0", "192.0.2.1:80", "[::]:0"] {
        let refused = Serving::at(address.parse().unwrap(), Reached::default());
        assert!(matches!(refused, Err(ServeError::InTheClear(_))), "{address}");
    }
    let there = Serving::at("127.0.0.1:0".parse().unwrap(), Reached::default()).expect("a free port");
    assert_ne!(there.address().port(), 0);
    assert!(matches!(Serving::at(there.address(), Reached::default()), Err(ServeError::Address(..))));
    // Without accounts nobody is let in from elsewhere, and without a name nobody is answered.
    let proxied = Reached { behind_proxy: true, ..Reached::default() };
    assert!(matches!(Serving::at("127.0.0.1:0".parse().unwrap(), proxied.clone()), Err(ServeError::NoName(_))));
    let named = Reached { names: vec!["desk.example".parse().unwrap()], ..proxied };
    let there = Serving::at("127.0.0.1:0".parse().unwrap(), named).expect("a free port");
    assert!(matches!(there.office(Store::in_memory().unwrap()), Err(ServeError::NoAccounts(_))));
}

#[tokio::test]
async fn where_things_stand_is_chosen_and_put_right() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let page = browser.get("/calls/1").await;
    // A choice for what is seen to stand somewhere; a button springs back.
    assert!(page.text.contains("<label for=\"position-") && page.text.contains(">ram</label>"), "{}", page.text);
    assert!(!page.text.contains(">start</label>"), "{}", page.text);
    let at = page.text.find(">ram</label>").unwrap();
    let number: String = page.text[..at].rsplit("position-").next().unwrap().trim_end_matches('"').to_owned();
    let chosen = |place: &str| format!("{number}.{place}");
    let stands = async |place: &str, said: &str| {
        let seen = browser.get("/calls/1").await.field("seen");
        let place = chosen(place);
        let sent = browser.post("/calls/1/positions", &[("position", ""), ("position", &place), ("seen", &seen)]).await;
        assert_eq!(sent.leads_to(), "/calls/1#next");
        let text = browser.get("/calls/1").await.text;
        assert_eq!(text.matches("<span class=\"kind\">saw</span>").count(), 1, "{text}");
        assert!(text.contains(said) && text.contains(&format!("value=\"{place}\" selected")), "{said}: {text}");
    };
    stands("1", "ram down").await;
    // The same moment is put right, not said twice.
    stands("between", "ram between").await;
    for junk in ["", "99999999999.1", "0", "x.y", &chosen("250"), &chosen("-1")] {
        let seen = browser.get("/calls/1").await.field("seen");
        let refused = browser.post("/calls/1/positions", &[("position", junk), ("seen", &seen)]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{junk}");
    }
}

#[tokio::test]
async fn what_to_ask_next_is_a_page_for_who_has_no_scripts_and_a_piece_for_the_script() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    let whole = browser.get("/calls/1/next").await.text;
    assert!(
        whole.starts_with("<!DOCTYPE html>") && whole.contains("/look.css") && whole.contains("it won't start"),
        "{whole}"
    );
    assert!(whole.contains("Back to the call"), "{whole}");
    let piece = browser.get("/calls/1/next?piece=yes").await.text;
    assert!(piece.starts_with("<h2>What is wrong?</h2>"), "{piece}");
}

#[tokio::test]
async fn answers_stand_in_the_callers_language_beside_the_english() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    browser.post("/calls/1/answer", &[("question", "complaint"), ("said", "1"), ("seen", "0")]).await.leads_to();
    let did = [("question", "did"), ("typed", "pressed start"), ("seen", "1")];
    browser.post("/calls/1/answer", &did).await.leads_to();
    browser.post("/calls/1/lamps", &[("typed", "X2 off, rest off"), ("seen", "2")]).await.leads_to();
    let english = browser.get("/calls/1/next?piece=yes").await.text;
    assert!(english.contains("name=\"said\"") && !english.contains("lang=\"de\""), "{english}");
    let german = browser.get("/calls/1/next?piece=yes&speak=de").await.text;
    let button = &german[german.find("<button name=\"said\"").unwrap()..];
    let button = &button[..button.find("</button>").unwrap()];
    assert!(button.contains("<span lang=\"de\">") && button.contains("</span><small>"), "{german}");
}

#[tokio::test]
async fn a_contradiction_says_what_to_do_on_this_page() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await;
    browser.post("/calls/1/lamps", &[("typed", "X2 on"), ("seen", "0")]).await.leads_to();
    let refused = browser.post("/calls/1/lamps", &[("typed", "X2 off"), ("seen", "1")]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        refused.text.contains("entry 1 says the other") && refused.text.contains("Put that entry right"),
        "{}",
        refused.text
    );
    assert!(!refused.text.contains("`change"), "{}", refused.text);
}

#[tokio::test]
async fn what_is_known_of_a_machine_that_is_not_in_the_records_is_looked_over_before_the_call() {
    let browser = Browser::new();
    let begin =
        async |field: &str, value: &str| browser.post("/calls", &[("machine_type", "press"), (field, value)]).await;
    for (field, value) in [
        ("revision", "Z"),
        ("settings", "speed=3"),
        ("settings", "speed"),
        ("visit", "soon"),
        ("visit", "-5"),
        ("visit", "100001"),
    ] {
        let refused = begin(field, value).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {value}: {}", refused.text);
    }
    assert_eq!(browser.get("/calls/1").await.status, StatusCode::NOT_FOUND);
    // Minutes until a visit are kept with the call, and what is advised follows from them.
    let until_it_runs = async |call: &str| {
        let part = format!("{call}/next");
        for fields in [
            vec![("question", "complaint"), ("said", "1")],
            vec![("question", "did"), ("leave", "unknown")],
            vec![("question", "lamps"), ("leave", "unknown")],
        ] {
            let seen = browser.get(&part).await.field("seen");
            let fields = [&fields[..], &[("seen", seen.as_str())]].concat();
            browser.post(&format!("{call}/answer"), &fields).await.leads_to();
        }
        let text = browser.get(&part).await.text;
        let end = text.find(" until it runs").unwrap_or_else(|| panic!("{text}"));
        text[..end].rsplit("about ").next().unwrap().to_owned()
    };
    let near = begin("visit", "5").await.leads_to().to_owned();
    let far = begin("visit", "6000").await.leads_to().to_owned();
    let (near, far) = (until_it_runs(&near).await, until_it_runs(&far).await);
    let hours = |said: &str| said.trim_end_matches(" h").parse::<f64>().unwrap_or_else(|_| panic!("{near} {far}"));
    assert!(hours(&far) > hours(&near) + 2.0, "{near} {far}");
}

/// A jar filler with a setting of its own, and a call about it that is closed.
async fn jar_filler() -> Browser {
    let mut store = Store::in_memory().unwrap();
    let now: Timestamp = "2026-03-01T09:00:00Z".parse().unwrap();
    let text = include_str!("../../../../demos/jar-filler.toml");
    let added = store.add_version(&NewVersion { name: "jar-filler", text, ..NewVersion::default() }, now).unwrap();
    let own = NewMachine {
        serial: "JF-1".into(),
        settings: vec![("fill_time".to_owned(), "T#7s".to_owned())],
        ..NewMachine::of(added.machine_type)
    };
    let machine = store.add_machine(&own, now).unwrap();
    let until = "2027-03-01T09:00:00Z".parse().unwrap();
    let (id, unit) = (records::ExposureId(0), records::Unit::Hours);
    store.add_exposure(&records::Exposure { id, machine, since: now, until, amount: 4_000.0, unit }).unwrap();
    // More than a month apart: sooner it would be the same one.
    for day in ["2026-05-01", "2026-08-01", "2026-11-01"] {
        let at: Timestamp = format!("{day}T09:00:00Z").parse().unwrap();
        let call = store.begin_call(&NewCall::On(machine), at).unwrap();
        store.change(call, 0, &Change::Add(vec![Entry::new(Kind::Complaint, "wont-start")]), at).unwrap();
        let deviations = vec!["B3/out-of-adjustment".to_owned()];
        let finding = records::Finding {
            deviations,
            words: "it has slipped".to_owned(),
            sure: 1.0,
            ..records::Finding::default()
        };
        store.close_call_with(call, 1, &finding, at).unwrap();
    }
    let clock = || "2027-06-01T09:00:00Z".parse().unwrap();
    Browser { pages: router(Arc::new(Office::new(store, HERE.parse().unwrap()).with_clock(clock))) }
}

#[tokio::test]
async fn a_machine_shows_its_settings_what_to_expect_of_it_and_its_calls_in_words() {
    let browser = jar_filler().await;
    let page = browser.get("/machines/1").await.text;
    let row = |name: &str| {
        let at = page.find(&format!("<small>{name}</small>")).unwrap_or_else(|| panic!("{page}"));
        page[at..].split("</tr>").next().unwrap().to_owned()
    };
    assert!(
        row("fill_time").contains("7 s") && row("fill_time").contains("its own") && row("fill_time").contains("4 s"),
        "{page}"
    );
    assert!(row("drip_time").contains("800 ms") && !row("drip_time").contains("its own"), "{page}");
    // What was found more often than the library expects is expected more often.
    let at = page.find("the switch has slipped on the cylinder").unwrap_or_else(|| panic!("{page}"));
    let numbers: Vec<f64> =
        page[at..].split("</tr>").next().unwrap().split(['<', '>', ' ']).filter_map(|word| word.parse().ok()).collect();
    let [.., library, learned, low, high] = numbers[..] else { panic!("{numbers:?}") };
    assert!(learned > 2.0 * library && low < learned && learned < high, "{numbers:?}");
    // Complaints stand in lists as people say them.
    for address in ["/machines/1", "/calls"] {
        let text = browser.get(address).await.text;
        assert!(text.contains("it won't start") && !text.contains("wont-start"), "{address}: {text}");
    }
    // Charts, timing, and steps with lamps are shown on the page of the type.
    let shown = browser.get("/types/1").await.text;
    for drawing in ["/types/1/sheets/lamp-chart.html", "/types/1/sheets/chart.svg", "/types/1/sheets/timing.svg"] {
        assert!(shown.contains(&format!("src=\"{drawing}\"")), "{drawing}");
        assert_eq!(browser.get(drawing).await.status, StatusCode::OK, "{drawing}");
    }
    // Without the typesetter PDF is not offered.
    assert_eq!(shown.contains(".pdf"), cfg!(feature = "typeset"));
}

#[tokio::test]
async fn a_remark_stands_beside_its_line() {
    let browser = Browser::new();
    assert!(browser.get("/types/1/file").await.text.contains("Nothing is remarked"));
    let wrong = PRESS.replace("until ram = down", "until ramm = down");
    let refused = browser.post("/types/1/file", &[("text", &wrong), ("seen", "1")]).await.text;
    let line = wrong.lines().position(|line| line.contains("ramm")).unwrap() + 1;
    let at = refused.find(&format!("data-line=\"{line}\"")).unwrap_or_else(|| panic!("{refused}"));
    let remark = refused[at..].split("</li>").next().unwrap();
    assert!(remark.contains("until ramm = down") && remark.contains("mistake:"), "{remark}");
    assert!(refused.contains("1 mistake. It stands"), "{refused}");
}

#[tokio::test]
async fn figures_take_empty_fields_as_usual() {
    let browser = Browser::new();
    assert_eq!(browser.get("/figures?days=&lead=&level=").await.status, StatusCode::OK);
    assert!(browser.get("/figures?days=30&lead=1,5&level=0.9").await.text.contains("after 1.5 days"));
}
