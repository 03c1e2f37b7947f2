//! What somebody could send to do harm, and what comes of it. docs/security.md has the list.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use pages::{Limits, Reached, Serving, serve};
use records::{NewVersion, Store};

use crate::support::{Browser, HERE, PRESS, Shown};

/// Leaves an attribute of either quotes and an element, and begins a script.
const EVIL: &str = "\"'></textarea></title><script>alert(1)</script><img src=x onerror=alert(2)>";

fn assert_is_text(address: &str, text: &str) {
    for markup in ["<script>alert", "<img src=x", "</title><script", "\"'>"] {
        assert!(!text.contains(markup), "{address}: {markup} in {text}");
    }
}

/// Sends a file as a browser does.
async fn upload(browser: &Browser, what: &str, name: &str, file: &[u8]) -> Shown {
    let mut body = format!("--edge\r\nContent-Disposition: form-data; name=\"what\"\r\n\r\n{what}\r\n").into_bytes();
    let head = format!("--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n");
    body.extend(head.as_bytes());
    body.extend(file);
    body.extend(b"\r\n--edge--\r\n");
    let request = Request::post("/lists")
        .header(header::HOST, HERE)
        .header(header::ORIGIN, format!("http://{HERE}"))
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .body(Body::from(body));
    browser.ask(request.unwrap()).await
}

#[tokio::test]
async fn a_script_typed_into_any_field_is_shown_as_text() {
    let browser = Browser::new();
    let mut answers = Vec::new();
    // A machine file whose every word for people is hostile.
    let quoted = EVIL.replace('"', "\\\"");
    let file = PRESS
        .replace("name = \"Press\"", &format!("name = \"{quoted}\"\nabout = \"{quoted}\"\nversion = \"{quoted}\""))
        .replace("\"Press start.\"", &format!("\"{quoted}\""))
        .replace("\"To see that the ram moves.\"", &format!("\"{quoted}\""));
    let saved = browser.post("/types/1/file", &[("text", &file), ("seen", "1"), ("note", EVIL)]).await;
    assert_eq!(saved.leads_to(), "/types/1");
    answers.push(browser.post("/types/1/file", &[("text", EVIL), ("seen", "2"), ("note", EVIL)]).await);
    let machine = [("site", EVIL), ("contact", EVIL), ("notes", EVIL)];
    let with = |more: &[(&'static str, &'static str)]| [&machine[..], more].concat();
    browser.post("/machines", &with(&[("serial", EVIL), ("machine_type", "1")])).await.leads_to();
    for more in
        [("revision", EVIL), ("settings", EVIL), ("settings", "\"'><script>alert(1)</script>=1"), ("hours", EVIL)]
    {
        answers.push(browser.post("/machines", &with(&[("serial", "S"), ("machine_type", "1"), more])).await);
    }
    browser.post("/machines/2/notes", &[("notes", EVIL)]).await.leads_to();
    for (begin, is_begun) in [
        (vec![("machine", "2")], true),
        (vec![("serial", EVIL), ("machine_type", "press")], true),
        (vec![("serial", "nowhere<script>alert(1)</script>")], false),
        (vec![("code", EVIL)], false),
        (vec![("machine_type", EVIL)], false),
        (vec![("machine_type", "press"), ("revision", EVIL)], false),
        (vec![("machine_type", "press"), ("settings", EVIL)], false),
        (vec![("machine_type", "press"), ("visit", EVIL)], false),
    ] {
        let shown = browser.post("/calls", &begin).await;
        assert_eq!(shown.status == StatusCode::SEE_OTHER, is_begun, "{begin:?} {}", shown.text);
        answers.push(shown);
    }
    let mut seen = browser.get("/calls/1").await.field("seen");
    for kind in ["note", "complaint", "did", "lamps", "saw", "found", "then", "tried", "who", "hours", "recently", EVIL]
    {
        let fields = [("kind", kind), ("text", EVIL), ("seen", &seen), ("speak", EVIL), ("rates", EVIL)];
        answers.push(browser.post("/calls/1/say", &fields).await);
        seen = browser.get("/calls/1").await.field("seen");
    }
    for (part, field) in
        [("answer", "typed"), ("answer", "said"), ("lamps", "typed"), ("lamps", "lamp"), ("positions", "position")]
    {
        let fields = [("question", "complaint"), (field, EVIL), ("seen", &seen)];
        answers.push(browser.post(&format!("/calls/1/{part}"), &fields).await);
    }
    let closing = [("words", EVIL), ("confirmed_by", EVIL), ("sure", "1"), ("cause", EVIL), ("solved", EVIL)];
    for more in [("minutes", EVIL), ("visits", EVIL), ("parts", EVIL), ("sure", EVIL)] {
        answers.push(browser.post("/calls/1/end", &[&closing[..], &[more, ("seen", &seen)]].concat()).await);
    }
    let seen = browser.get("/calls/1").await.field("seen");
    browser
        .post("/calls/1/end", &[&closing[..], &[("parts", "2 × <script>alert(3)</script>"), ("seen", &seen)]].concat())
        .await;
    let run =
        [("seen", "as due"), ("measured", ""), ("confirmed", ""), ("then", "keep"), ("done_by", EVIL), ("note", EVIL)];
    browser.post("/machines/2/procedures/stroke", &run).await.leads_to();
    for field in ["seen", "measured"] {
        let fields = [("seen", "as due"), ("measured", ""), ("confirmed", "")]
            .map(|(name, value)| (name, if name == field { EVIL } else { value }));
        answers.push(browser.post("/machines/2/procedures/stroke", &fields).await);
    }
    for what in ["done", "cause"] {
        answers.push(browser.post("/practice/press/fault/1", &[(what, EVIL), ("end", "named")]).await);
    }
    answers.push(upload(&browser, "machines", EVIL, format!("machine_type,serial\n{EVIL},{EVIL}\n").as_bytes()).await);
    answers.push(upload(&browser, EVIL, "a.csv", EVIL.as_bytes()).await);
    let json = serde_json::json!({ "machine_type": EVIL, "serial": EVIL, EVIL: EVIL });
    answers.push(upload(&browser, "machines", "a.jsonl", json.to_string().as_bytes()).await);
    for shown in &answers {
        assert_is_text("an answer", &shown.text);
        assert!(!shown.status.is_server_error(), "{} {}", shown.status, shown.text);
    }
    let searched: String = "/search?for=".chars().chain(crate::support::escaped(EVIL).chars()).collect();
    for address in [
        "/",
        "/calls",
        "/calls/1",
        "/calls/1/next",
        "/calls/1/report",
        "/calls/2",
        "/machines",
        "/machines?site=1",
        "/machines/1",
        "/machines/2",
        "/machines/2/procedures/stroke",
        "/types",
        "/types/1",
        "/types/1/devices",
        "/types/1/review",
        "/types/1/file",
        "/figures",
        "/practice",
        "/practice/press/fault/1",
        "/search?for=alert",
        &searched,
        "/lists",
        "/types/1/sheets/lamps.html",
        "/types/1/sheets/lamp-chart.html",
        "/types/1/sheets/procedures.html",
        "/types/1/sheets/timing.html",
        "/types/1/sheets/chart.svg",
        "/types/1/sheets/timing.svg",
        "/calls?time=%22%3E%3Cscript%3Ealert",
        "/types/%3Cscript%3Ealert",
        "/%3Cscript%3Ealert(1)%3C/script%3E",
    ] {
        let shown = browser.get(address).await;
        assert!(!shown.status.is_server_error(), "{address}: {} {}", shown.status, shown.text);
        assert_is_text(address, &shown.text);
    }
    // It really stands on these pages, as text.
    for address in [
        "/calls/1",
        "/calls",
        "/machines/2",
        "/types/1",
        "/types/1/file",
        "/search?for=alert",
        "/types/1/sheets/lamps.html",
    ] {
        assert!(browser.get(address).await.text.contains("&lt;script&gt;alert(1)"), "{address}");
    }
}

#[tokio::test]
async fn bytes_that_are_no_text_do_no_harm() {
    let browser = Browser::new();
    browser.post("/calls", &[("serial", "PR-7")]).await.leads_to();
    let bodies: [&[u8]; 8] = [
        b"kind=note&text=%FF%FE%C0%AF&seen=0",
        b"kind=note&text=\xff\xfe\xc0\xaf&seen=0",
        b"kind=note&text=%00%01%1B%5B31m&seen=0",
        b"kind=note&text=%E2%80%AEgnihtemos&seen=0",
        b"kind=note&text=%ED%A0%80&seen=%ED%A0%80",
        b"kind=note&text=%&seen=%zz",
        b"&&&===&seen=18446744073709551616",
        b"seen=-1&kind=note&text=x",
    ];
    for body in bodies {
        for address in [
            "/calls/1/say",
            "/calls/1/answer",
            "/calls/1/lamps",
            "/calls/1/change",
            "/calls/1/end",
            "/machines",
            "/types/1/file",
            "/practice/press/fault/1",
        ] {
            for kind in ["application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "text/plain", ""] {
                let request =
                    Request::post(address).header(header::HOST, HERE).header(header::ORIGIN, format!("http://{HERE}"));
                let request = request.header(header::CONTENT_TYPE, kind).body(Body::from(body.to_vec())).unwrap();
                let shown = browser.ask(request).await;
                assert!(!shown.status.is_server_error(), "{address} {kind}: {} {}", shown.status, shown.text);
            }
        }
    }
    for what in ["machines", "calls", "findings", "hours", "procedures"] {
        for file in [
            &b"\xff\xfe\x00m\x00a"[..],
            b"\x00\x00\x00",
            b"machine_type,serial\n\xff,\xff\n",
            b"{\"machine_type\":\"\xff\"}",
            b"{",
            b"\xef\xbb\xbf",
            b"\"\n\n\"\"\"\r\r",
        ] {
            let shown = upload(&browser, what, "a.csv", file).await;
            assert!(
                shown.status.is_client_error() || shown.text.contains("nothing in it"),
                "{what} {file:?}: {}",
                shown.text
            );
        }
    }
    for address in
        ["/search?for=%FF%00%22%27*%28%29", "/calls/%FF", "/figures?days=%FF", "/practice/%00/%00/1", "/lists/%FF.csv"]
    {
        assert!(!browser.get(address).await.status.is_server_error(), "{address}");
    }
    // Of control signs none is kept.
    assert!(!browser.get("/calls/1").await.text.contains('\u{1b}'));
}

#[tokio::test]
async fn no_path_leads_out() {
    let browser = Browser::new();
    for address in [
        "/lists/..%2F..%2F..%2Fetc%2Fpasswd.csv",
        "/lists/../../../etc/passwd",
        "/types/1/sheets/..%2F..%2FCargo.toml",
        "/types/1/sheets/%2Fetc%2Fpasswd",
        "/look.css/../../Cargo.toml",
        "/..%2f..%2fetc%2fpasswd",
        "/machines/1/procedures/..%2F..%2Fetc",
        "/practice/..%2F..%2Fetc%2Fpasswd/fault/1",
    ] {
        let shown = browser.get(address).await;
        assert_eq!(shown.status, StatusCode::NOT_FOUND, "{address}: {}", shown.text);
        assert!(!shown.text.contains("root:"), "{address}");
    }
    // The name of a file that is sent is only looked at for its end, and what stands in cells is no path.
    let rows = b"machine_type,serial,site,notes\npress,/etc/passwd,file:///etc/passwd,../../etc/passwd\n";
    let shown = upload(&browser, "machines", "../../../etc/cron.d/machines.csv", rows).await;
    assert_eq!(shown.status, StatusCode::OK, "{}", shown.text);
    browser.post("/lists/take", &[("number", &shown.field("number"))]).await;
    let listed = browser.get("/machines").await.text;
    assert!(listed.contains("file:///etc/passwd") && !listed.contains("root:"), "{listed}");
    for what in ["../machines", "/etc/passwd", "machines/../calls"] {
        assert_eq!(upload(&browser, what, "a.csv", rows).await.status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
    }
    // A machine file names device types, never files.
    let file = PRESS.replace("X2 = { lit", "X2 = { device = \"../../../../etc/passwd\", lit");
    let shown = browser.post("/types/1/file", &[("text", &file), ("seen", "1")]).await;
    assert!(shown.status == StatusCode::UNPROCESSABLE_ENTITY && !shown.text.contains("root:"), "{}", shown.text);
}

#[tokio::test]
async fn a_machine_file_that_would_take_long_is_told_at_once() {
    let browser = Browser::new();
    let wide = |many: usize| {
        let mut file =
            "format = 1\n[machine]\nname = \"Wide\"\n[inputs]\nX0 = { lit = \"start = pressed\" }\n".to_owned();
        for number in 1..many {
            let _ = write!(
                file,
                "X{number}a = {{ lit = \"m{number} = up\" }}\nX{number}b = {{ lit = \"m{number} = down\" }}\n"
            );
        }
        file.push_str("[charts.c]\nstart = \"start = pressed\"\nneeds = [\"m1 = up\"]\n[charts.c.steps]\n");
        for number in 1..many {
            let _ = writeln!(file, "s{number}d = \"do m{number} down until m{number} = down\"");
            let _ = writeln!(file, "s{number}u = \"do m{number} up until m{number} = up\"");
        }
        file
    };
    let many = |line: &str| (0..30_000).map(|number| line.replace('#', &number.to_string())).collect::<String>();
    let condition =
        PRESS.replace("until ram = down", &format!("until {}ram = down{}", "(".repeat(100_000), ")".repeat(100_000)));
    for (what, file, why) in [
        ("a hundred mechanisms", wide(120), "million pairs"),
        ("two thousand mechanisms", wide(2_000), "more than"),
        ("lists in lists", format!("format = 1\nx = {}{}", "[".repeat(200_000), "]".repeat(200_000)), "Not saved"),
        ("tables in tables", format!("format = 1\nx = {}1{}", "{a=".repeat(200_000), "}".repeat(200_000)), "Not saved"),
        ("brackets in a condition", condition, "Not saved"),
        ("keys that nobody knows", format!("format = 1\n{}", many("q# = 1\n")), "Not saved"),
        ("nothing that is TOML", "= = =\n".repeat(60_000), "Not saved"),
    ] {
        let began = Instant::now();
        let shown = browser.post("/types/1/file", &[("text", &file), ("seen", "1")]).await;
        assert_eq!(shown.status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        assert!(shown.text.contains(why), "{what}: {}", &shown.text[..shown.text.len().min(3_000)]);
        // Generous: these tests are not compiled for speed.
        assert!(began.elapsed() < Duration::from_secs(60), "{what}: {:?}", began.elapsed());
        println!("{what}: {:?}", began.elapsed());
    }
    assert!(!browser.get("/types/1").await.text.contains("No. 2"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_many_windows_on_a_call_each_is_taken_or_told() {
    let browser = Arc::new(Browser::new());
    browser.post("/calls", &[("serial", "PR-7")]).await.leads_to();
    let seen = browser.get("/calls/1").await.field("seen");
    let windows: Vec<_> = (0..20)
        .map(|number| {
            let (browser, seen) = (Arc::clone(&browser), seen.clone());
            tokio::spawn(async move {
                let text = format!("said by window {number}.");
                browser.post("/calls/1/say", &[("kind", "note"), ("text", &text), ("seen", &seen)]).await
            })
        })
        .collect();
    let mut counted: BTreeMap<u16, usize> = BTreeMap::new();
    for window in windows {
        *counted.entry(window.await.unwrap().status.as_u16()).or_default() += 1;
    }
    assert_eq!(counted, BTreeMap::from([(303, 1), (409, 19)]));
    assert_eq!(browser.get("/calls/1").await.text.matches("said by window").count(), 2, "one entry, and its field");
}

/// Pages that are served with these limits.
fn served(limits: Limits) -> SocketAddr {
    let serving = Serving::at("127.0.0.1:0".parse().unwrap(), Reached::default()).unwrap().with_limits(limits);
    let address = serving.address();
    let mut store = Store::in_memory().unwrap();
    let new = NewVersion { name: "press", text: PRESS, ..NewVersion::default() };
    let added = store.add_version(&new, jiff::Timestamp::now()).unwrap();
    let new = records::NewCall::Of { machine_type: added.machine_type, choice: machine::Choice::default() };
    store.begin_call(&new, jiff::Timestamp::now()).unwrap();
    let office = serving.office(store).unwrap();
    // Goes on until the tests end.
    std::thread::spawn(move || serve(serving, office));
    address
}

fn connected(address: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream
}

fn answered(mut stream: TcpStream) -> String {
    let mut answer = Vec::new();
    // The other side may close without a word.
    _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn asked(address: SocketAddr, path: &str, more: &str) -> String {
    let mut stream = connected(address);
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {address}\r\n{more}Connection: close\r\n\r\n").unwrap();
    answered(stream)
}

#[test]
fn limits_are_those_that_the_documents_name() {
    let seconds = Duration::from_secs;
    let named = Limits { head: seconds(20), body: seconds(60), connections: 1_000, requests: 250, answer: seconds(8) };
    assert_eq!(Limits::default(), named);
}

#[test]
fn whoever_never_says_what_they_want_is_hung_up_on() {
    let address = served(Limits { head: Duration::from_secs(1), ..Limits::default() });
    let slow: Vec<TcpStream> = (0..50)
        .map(|_| {
            let mut stream = connected(address);
            stream.write_all(b"GET / HTTP/1.1\r\nHost: loc").unwrap();
            stream
        })
        .collect();
    // Others are answered meanwhile.
    assert!(asked(address, "/look.css", "").starts_with("HTTP/1.1 200"));
    for stream in slow {
        assert!(!answered(stream).starts_with("HTTP/1.1 200"));
    }
}

#[test]
fn a_form_that_never_arrives_is_given_up() {
    let address = served(Limits { body: Duration::from_millis(500), ..Limits::default() });
    let began = Instant::now();
    let slow: Vec<TcpStream> = (0..20)
        .map(|_| {
            let mut stream = connected(address);
            write!(
                stream,
                "POST /calls/1/say HTTP/1.1\r\nHost: {address}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
            )
            .unwrap();
            write!(stream, "Content-Length: 50\r\nConnection: close\r\n\r\nkind=note&text=slo").unwrap();
            stream
        })
        .collect();
    assert!(asked(address, "/look.css", "").starts_with("HTTP/1.1 200"));
    for stream in slow {
        let answer = answered(stream);
        assert!(answer.starts_with("HTTP/1.1 408") && answer.contains("took too long to arrive"), "{answer}");
    }
    assert!(began.elapsed() < Duration::from_secs(30), "{:?}", began.elapsed());
    assert!(!asked(address, "/calls/1", "").contains("slo<"));
}

#[test]
fn more_connections_than_there_are_places_wait_until_one_is_free() {
    let address = served(Limits { connections: 3, ..Limits::default() });
    let mut held: Vec<TcpStream> = Vec::new();
    for _ in 0..3 {
        let mut stream = connected(address);
        // An answer shows that it was taken; the connection stays open.
        write!(stream, "GET /lamp.svg HTTP/1.1\r\nHost: {address}\r\n\r\n").unwrap();
        assert!(stream.read(&mut [0; 100]).unwrap() > 0);
        held.push(stream);
    }
    let mut fourth = connected(address);
    write!(fourth, "GET /look.css HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").unwrap();
    fourth.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    let waits = fourth.read(&mut [0; 100]);
    assert!(waits.is_err(), "it was answered although all places were taken: {waits:?}");
    drop(held.pop());
    fourth.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    assert!(answered(fourth).starts_with("HTTP/1.1 200"));
}

#[test]
fn more_requests_than_can_be_worked_on_are_sent_away() {
    let address = served(Limits { requests: 0, ..Limits::default() });
    let answer = asked(address, "/calls", "");
    assert!(answer.starts_with("HTTP/1.1 503") && answer.contains("too much is being worked out"), "{answer}");
}

#[test]
fn an_answer_that_takes_long_is_taken_up_again_and_keeps_nobody_waiting() {
    let address = served(Limits { answer: Duration::ZERO, ..Limits::default() });
    let navigates = "Sec-Fetch-Dest: document\r\n";
    let began = Instant::now();
    let first = asked(address, "/calls/1", navigates);
    assert!(first.starts_with("HTTP/1.1 202") && first.contains("takes longer than usual"), "{first}");
    assert!(first.to_ascii_lowercase().contains("refresh: 2"), "{first}");
    let mut last = first;
    while !last.starts_with("HTTP/1.1 200") {
        assert!(last.starts_with("HTTP/1.1 202") && began.elapsed() < Duration::from_secs(60), "{last}");
        std::thread::sleep(Duration::from_millis(20));
        last = asked(address, "/calls/1", navigates);
    }
    assert!(last.contains("What is known"), "{last}");
    // A program, a picture, and whatever says not what it is for waits.
    assert!(asked(address, "/calls/1", "").starts_with("HTTP/1.1 200"));
    assert!(asked(address, "/calls/1", "Sec-Fetch-Dest: image\r\n").starts_with("HTTP/1.1 200"));
    // The script is told so too, where it fetches a piece.
    let another = served(Limits { answer: Duration::ZERO, ..Limits::default() });
    let piece = asked(another, "/calls/1/next?piece=yes", "Sec-Fetch-Dest: empty\r\n");
    assert!(piece.starts_with("HTTP/1.1 202"), "{piece}");
}

#[test]
fn what_was_said_meanwhile_is_in_an_answer_that_took_long() {
    let address = served(Limits { answer: Duration::ZERO, ..Limits::default() });
    let navigates = "Sec-Fetch-Dest: document\r\n";
    assert!(asked(address, "/calls/1", navigates).starts_with("HTTP/1.1 202"));
    let form = "kind=note&text=meanwhile&seen=0";
    let mut stream = connected(address);
    let head = format!(
        "POST /calls/1/say HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: {}\r\n",
        form.len()
    );
    write!(stream, "{head}Content-Type: application/x-www-form-urlencoded\r\n\r\n{form}").unwrap();
    assert!(answered(stream).starts_with("HTTP/1.1 303"));
    let began = Instant::now();
    loop {
        let page = asked(address, "/calls/1", navigates);
        if page.starts_with("HTTP/1.1 200") {
            assert!(page.contains("meanwhile"), "{page}");
            break;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "{page}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The list in docs/security.md says which test holds what; a test that was renamed is to be renamed there.
#[test]
fn the_tests_that_the_list_names_are_there() {
    let list = include_str!("../../../../docs/security.md");
    let files = [
        ("hostile::", include_str!("hostile.rs")),
        ("pages::", include_str!("pages.rs")),
        ("accounts::", include_str!("accounts.rs")),
        ("encrypted::", include_str!("encrypted.rs")),
        ("records::accounts::", include_str!("../../../records/tests/it/accounts.rs")),
        ("records::lists::", include_str!("../../../records/tests/it/lists.rs")),
        ("records::transfer::", include_str!("../../../records/tests/it/transfer.rs")),
    ];
    let mut named = 0;
    for word in list.split('`').skip(1).step_by(2) {
        let Some((name, file)) = files.iter().find_map(|(of, file)| Some((word.strip_prefix(of)?, file))) else {
            continue;
        };
        if name.is_empty() || name == "ADDRESSES" {
            continue;
        }
        let test = match name.strip_suffix('…') {
            Some(begins) => format!("fn {begins}"),
            None => format!("fn {name}()"),
        };
        assert!(file.contains(&test), "docs/security.md names {word}, which is not there");
        named += 1;
    }
    assert!(named > 35, "{named}");
    // Each row of both tables names something.
    for row in list
        .lines()
        .filter(|line| line.starts_with("| ") && !line.starts_with("| ---") && !line.starts_with("| what was"))
    {
        let held = row.trim_end_matches(" |").rsplit(" | ").next().unwrap();
        assert!(held.contains('`') || held.starts_with("the same"), "{row}");
    }
}
