use crate::support::{CAPPER, add_capper, minute, new_machine};
use diagnose::call::{Entry, Kind};
use machine::Choice;
use proptest::prelude::*;
use records::demo::{Wanted, fill};
use records::transfer::{Format, MOST_PROBLEMS, Report, Things};
use records::{
    CallFilter, Change, Exposure, ExposureId, Finding, MachineFilter, Measured, NewCall, NewVersion, Page, PartUsed,
    ProcedureRun, RunId, Solved, Stated, Store, Unit,
};

fn exported(store: &Store, things: Things, format: Format) -> String {
    let mut out = Vec::new();
    store.export(things, format, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

fn import(store: &mut Store, things: Things, format: Format, text: impl AsRef<[u8]>) -> Report {
    store.import(things, format, text.as_ref(), false, minute(0)).unwrap()
}

fn problems(report: &Report) -> Vec<(u64, &str)> {
    report.problems.iter().map(|one| (one.line, one.what.as_str())).collect()
}

#[test]
fn the_whole_history_goes_out_and_comes_back_the_same() {
    let mut store = Store::in_memory().unwrap();
    fill(&mut store, &Wanted { calls: 150, seed: 1 }, minute(0)).unwrap();
    for format in [Format::Csv, Format::JsonLines] {
        let mut other = Store::in_memory().unwrap();
        for kind in store.machine_types().unwrap() {
            // All versions, the current one last.
            for version in store.versions(kind.id).unwrap().into_iter().rev() {
                let text = store.version_text(version.id).unwrap().text;
                let new = NewVersion { name: &kind.name, text: &text, ..NewVersion::default() };
                other.add_version(&new, minute(0)).unwrap();
            }
        }
        for things in Things::ALL {
            let text = exported(&store, things, format);
            let dry = other.import(things, format, text.as_bytes(), true, minute(0)).unwrap();
            assert_eq!(problems(&dry), [], "{things:?} {format:?}");
            assert!(!dry.kept && dry.added == dry.rows && dry.rows > 30, "{dry:?}");
            assert_eq!(
                exported(&other, things, format).lines().count(),
                usize::from(format == Format::Csv),
                "a dry run"
            );
            let report = import(&mut other, things, format, &text);
            assert!(report.kept && report.added == dry.added);
            assert_eq!(exported(&other, things, format), text, "{things:?} {format:?}");
            // Once more changes nothing.
            let again = import(&mut other, things, format, &text);
            assert_eq!((again.unchanged, again.added, again.changed), (report.rows, 0, 0), "{things:?}");
        }
        assert!(other.check().unwrap().is_sound());
        let versions = |store: &Store| -> Vec<u32> {
            let rows = store.calls(&CallFilter::default(), &Page::first(1000)).unwrap().rows;
            rows.iter().map(|row| store.version(row.version).unwrap().number).collect()
        };
        assert_eq!(versions(&other), versions(&store), "each call has the version it was made with");
    }
}

/// A store with one machine, call and finding in which every text is as nasty as texts get.
fn nasty() -> Store {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let machine = records::NewMachine {
        site: Some("../../etc/passwd".to_owned()),
        contact: "-1+1".to_owned(),
        notes: "@SUM(A1:A9)\n\tsecond \"line\", with; all,\n'=third".to_owned(),
        running_hours: Some(0.1 + 0.2),
        ..new_machine(added, "=HYPERLINK(\"http://x\")")
    };
    let machine = store.add_machine(&machine, minute(0)).unwrap();
    let call = store.begin_call(&NewCall::On(machine), minute(1)).unwrap();
    let measured = |what: &str, value, unit: &str, lowest, highest| Measured {
        what: what.to_owned(),
        value,
        unit: unit.to_owned(),
        lowest,
        highest,
    };
    let run = ProcedureRun {
        id: RunId(0),
        machine,
        version: added.version,
        call: Some(call),
        at: minute(4),
        name: "-line priming".to_owned(),
        done_by: "@nobody".to_owned(),
        completed: true,
        note: "=1\n+2".to_owned(),
        values: vec![
            measured("=a = 3", -0.1, "", None, None),
            measured("+b [1 to 2]", 1e-9, "mm [3 to 4]", None, None),
            measured("c", 1.0 / 3.0, "°C [", Some(-1.5), None),
            measured("d", 2.0, "bar", None, Some(0.1 + 0.2)),
        ],
    };
    store.add_procedure_run(&run).unwrap();
    for (unit, amount) in [(Unit::Hours, 0.1 + 0.2), (Unit::Cycles, 1e11)] {
        let span = Exposure { id: ExposureId(0), machine, since: minute(0), until: minute(900), amount, unit };
        store.add_exposure(&span).unwrap();
    }
    let said = vec![Entry::new(Kind::Complaint, "=cmd|'/c calc'!A1"), Entry::new(Kind::Note, "a, \"b\"; c ' 雪")];
    store.change(call, 0, &Change::Add(said), minute(2)).unwrap();
    let finding = Finding {
        deviations: vec!["+I8/dead".to_owned(), "lapse/guard shut".to_owned()],
        words: "\"quoted\"\n\n=and more".to_owned(),
        remedies: vec!["-".to_owned()],
        sure: 1.0 / 3.0,
        confirmed_by: "@nobody".to_owned(),
        not_in_file: true,
        solved: Solved::Visit,
        minutes: None,
        visits: 3,
        parts: vec![
            PartUsed { part: "a @ 3".to_owned(), count: 2, price: None },
            PartUsed { part: "b x c @ 4".to_owned(), count: 1, price: Some(0.1) },
        ],
        stated: vec![Stated { key: "I8/dead with blanks".to_owned(), probability: 0.1 }],
    };
    store.set_finding(call, 1, &finding, minute(3)).unwrap();
    store
}

#[test]
fn texts_as_nasty_as_they_get_come_back_the_same_and_no_cell_is_a_formula() {
    let store = nasty();
    for format in [Format::Csv, Format::JsonLines] {
        let mut other = Store::in_memory().unwrap();
        add_capper(&mut other);
        for things in Things::ALL {
            let text = exported(&store, things, format);
            if format == Format::Csv {
                let mut reader = csv::Reader::from_reader(text.as_bytes());
                for record in reader.records() {
                    for cell in &record.unwrap() {
                        assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
                    }
                }
            }
            let report = import(&mut other, things, format, &text);
            assert!(report.kept, "{:?}", report.problems);
            assert_eq!(exported(&other, things, format), text);
        }
        let calls = |store: &Store| {
            let rows = store.calls(&CallFilter::default(), &Page::first(9)).unwrap().rows;
            rows.into_iter()
                .map(|row| store.call(row.id).unwrap())
                .map(|call| (call.entries, call.finding))
                .collect::<Vec<_>>()
        };
        assert_eq!(calls(&other), calls(&store));
        let machines = |store: &Store| store.machines(&MachineFilter::default(), &Page::first(9)).unwrap().rows;
        assert_eq!(machines(&other)[0].to_new(), machines(&store)[0].to_new());
    }
}

#[test]
fn every_problem_is_listed_with_its_line_and_nothing_is_kept() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    let text = "machine_type,serial,running_hours,settings,site\r\n\
                jar-capper,1,12.5,,Hall\r\n\
                ../../demos/minimal.toml,2,1,,\r\n\
                jar-capper,,1,,\r\n\
                jar-capper,4,much,,\r\n\
                jar-capper,5,-1,,\r\n\
                jar-capper,6,1\r\n\
                jar-capper,7,1,\"a=1\nno value\",\r\n\
                jar-capper,8,\"1,5\",,\"C:\\hall\"\r\n\
                JAR-CAPPER,1,13,,\r\n";
    let report = import(&mut store, Things::Machines, Format::Csv, text);
    let expected = [
        (3, "the machine type `../../demos/minimal.toml`: there is no such thing in the records"),
        (4, "`serial` is missing"),
        (5, "running_hours: `much` is no number"),
        (6, "the running hours: -1 is no amount"),
        (7, "it has 3 cells, and the first line has 5"),
        (8, "settings: `no value` has no value"),
    ];
    assert_eq!(problems(&report), expected);
    assert_eq!((report.rows, report.added, report.changed, report.kept), (9, 2, 1, false));
    assert!(store.machines(&MachineFilter::default(), &Page::first(9)).unwrap().rows.is_empty());
    assert!(store.sites().unwrap().is_empty());
    // Without the wrong lines all is kept; a path in a cell is a text like any other.
    let good: Vec<&str> =
        text.lines().enumerate().filter(|(at, _)| ![2, 3, 4, 5, 6, 7, 8].contains(at)).map(|(_, line)| line).collect();
    let report = import(&mut store, Things::Machines, Format::Csv, good.join("\n"));
    assert!(report.kept, "{report:?}");
    let kept = store.machines(&MachineFilter::default(), &Page::first(9)).unwrap().rows;
    let kept: Vec<(&str, &str, Option<f64>)> =
        kept.iter().map(|one| (one.serial.as_str(), one.site_name.as_str(), one.running_hours)).collect();
    assert_eq!(kept, [("1", "", Some(13.0)), ("8", "C:\\hall", Some(1.5))]);
}

#[test]
fn fields_without_a_column_stay_as_they_are() {
    let mut store = nasty();
    let before = store.machines(&MachineFilter::default(), &Page::first(1)).unwrap().rows.remove(0);
    let text = "machine_type;serial;contact\njar-capper;\"'=HYPERLINK(\"\"http://x\"\")\";porter\n";
    let report = import(&mut store, Things::Machines, Format::Csv, text);
    assert!(report.kept && report.changed == 1, "{report:?}");
    let after = store.machine(before.id).unwrap();
    assert_eq!(after.contact, "porter");
    assert_eq!((after.notes, after.settings, after.site), (before.notes, before.settings, before.site));
}

#[test]
fn calls_and_findings_that_do_not_fit_are_told() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    let calls = r#"{"machine_type": "jar-capper", "serial": "9", "began": "2026-01-02T03:04:05+01:00", "entries": ["lamps: I1 on"]}
{"machine_type": "jar-capper", "began": "yesterday"}
{"machine_type": "jar-capper", "began": "2026-01-02T03:04:05Z", "closed": "2026-01-01T00:00:00Z"}
{"machine_type": "jar-capper", "began": "2026-01-02T03:04:05Z", "entries": ["lampshade: on"]}
{"machine_type": "jar-capper", "began": "2026-01-02T03:04:05Z", "fingerprint": "0123"}

{"machine_type": "jar-capper", "serial": "9", "began": "2026-01-02T02:04:05Z", "entries": ["lamps: I1 off"]}
{"machine_type": "jar-capper", "began": "2026-01-02T03:04:05Z", "path": "/etc/passwd"}
["machine_type"]
{"machine_type": "jar-capper", "began": {"a": 1}}
{"machine_type": "jar-capper", "began": "2026-01-02T03:04:05Z", "entries": ["note: a\nb"]}
nonsense"#;
    let report = import(&mut store, Things::Calls, Format::JsonLines, calls);
    let lines: Vec<u64> = report.problems.iter().map(|one| one.line).collect();
    assert_eq!(lines, [2, 3, 4, 5, 7, 8, 9, 10, 11, 12], "{:#?}", report.problems);
    assert!(report.problems.iter().all(|one| !one.what.is_empty() && !one.hint.is_empty()));
    assert_eq!(store.count_calls(&CallFilter::default()).unwrap(), 0);
    let first = calls.lines().next().unwrap();
    assert!(import(&mut store, Things::Calls, Format::JsonLines, first).kept);
    let findings = "machine_type,serial,began,sure,solved,parts,stated\n\
                    jar-capper,9,2026-01-02T02:04:05Z,0.9,phone,1 x fuse,0.5 I8/dead\n\
                    jar-capper,9,2026-01-02T02:04:06Z,0.9,phone,,\n\
                    jar-capper,9,2026-01-02T02:04:05Z,1.9,phone,,\n\
                    jar-capper,9,2026-01-02T02:04:05Z,0.9,telepathy,,\n\
                    jar-capper,9,2026-01-02T02:04:05Z,0.9,phone,many fuses,\n\
                    jar-capper,9,2026-01-02T02:04:05Z,0.9,phone,,I8/dead\n";
    let report = import(&mut store, Things::Findings, Format::Csv, findings);
    assert_eq!(
        report.problems.iter().map(|one| one.line).collect::<Vec<_>>(),
        [3, 4, 5, 6, 7],
        "{:#?}",
        report.problems
    );
    let good: Vec<&str> = findings.lines().take(2).collect();
    let report = import(&mut store, Things::Findings, Format::Csv, good.join("\n"));
    assert!(report.kept && report.added == 1);
    let call = store.calls(&CallFilter::default(), &Page::first(1)).unwrap().rows.remove(0);
    let call = store.call(call.id).unwrap();
    // The entries count one change, the finding another, so that other windows see it.
    assert_eq!(call.row.counter, 2);
    assert_eq!(call.finding.unwrap().parts, [PartUsed { part: "fuse".to_owned(), count: 1, price: None }]);
}

#[test]
fn files_that_are_no_tables_are_told_and_do_no_harm() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    let head = "machine_type,serial,notes\n";
    let huge = format!("{head}jar-capper,1,{}\njar-capper,2,fine\n", "x".repeat(5_000_000));
    let unclosed = format!("{head}jar-capper,1,\"{}", "never closed\n".repeat(300_000));
    let many = format!("{head}{}", "jar-capper,,\n".repeat(2_000));
    for (text, line) in [
        (Vec::new(), 1),
        (b"\0\0\0".to_vec(), 1),
        (b"\xff\xfea\0b\0".to_vec(), 1),
        (b"a,b,c\n".to_vec(), 1),
        (b"machine_type,serial,serial\n".to_vec(), 1),
        (format!("{head}jar-capper,a\0b,\n").into_bytes(), 2),
        ([head.as_bytes(), b"jar-capper,\xff,\n"].concat(), 2),
        (huge.into_bytes(), 2),
        (unclosed.into_bytes(), 2),
        (many.into_bytes(), 2),
    ] {
        let report = import(&mut store, Things::Machines, Format::Csv, &text);
        assert_eq!(report.problems.first().map(|one| one.line), Some(line), "{:?}", &text[..text.len().min(60)]);
        assert!(!report.kept && report.problems.len() <= MOST_PROBLEMS);
    }
    let report = import(&mut store, Things::Machines, Format::Csv, format!("{head}{}", "jar-capper,,\n".repeat(2_000)));
    assert_eq!((report.problems.len(), report.more_problems), (MOST_PROBLEMS, 1_500));
    let deep = format!("{{\"serial\": {}", "[".repeat(100_000));
    let report = import(&mut store, Things::Machines, Format::JsonLines, deep);
    assert_eq!(report.problems.len(), 1);
    // Spreadsheets put a mark before UTF-8.
    let marked = format!("\u{feff}{head}jar-capper,1,ü\n");
    assert!(import(&mut store, Things::Machines, Format::Csv, marked).kept);
    assert!(store.check().unwrap().is_sound());
}

#[test]
fn a_quote_that_is_never_closed_swallows_nothing() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    let head = "machine_type,serial,notes\n";
    for (rows, expected) in [
        ("jar-capper,1,a\njar-capper,2,\"b\njar-capper,3,c\n", (3, "a quote is opened here and never closed")),
        ("jar-capper,1,\"", (2, "a quote is opened here and never closed")),
        (
            "jar-capper,1,\"a\njar-capper,2,\"b\"\n",
            (3, "the quote that is opened on line 2 is closed here, and something else follows"),
        ),
        ("jar-capper,1,\"a\"b\n", (2, "behind the quote that ends a cell something else follows")),
    ] {
        let report = import(&mut store, Things::Machines, Format::Csv, format!("{head}{rows}"));
        assert_eq!(problems(&report), [expected], "{rows}");
        assert!(!report.kept && report.added == 0);
    }
    // Quotes within a cell that is not quoted, doubled ones, and line ends in a quoted cell are as they should be.
    let rows = "jar-capper,1,5\" pipe\r\njar-capper,2,\"a \"\"b\"\"\nc\"\r\njar-capper,3,\"\"\r\n";
    let report = import(&mut store, Things::Machines, Format::Csv, format!("{head}{rows}"));
    assert!(report.kept && report.added == 3, "{report:?}");
    let notes: Vec<String> = store
        .machines(&MachineFilter::default(), &Page::first(9))
        .unwrap()
        .rows
        .into_iter()
        .map(|one| one.notes)
        .collect();
    assert_eq!(notes, ["5\" pipe", "a \"b\"\nc", ""]);
}

#[test]
fn numbers_that_are_not_to_be_believed_and_texts_without_end_are_told() {
    let mut store = nasty();
    let long = "x".repeat(300);
    let mut told = |things, head: &str, row: String| {
        let report = import(&mut store, things, Format::Csv, format!("machine_type,serial,{head}\njar-capper,{row}\n"));
        assert!(!report.kept && report.problems.len() == 1, "{row}: {report:?}");
        let problem = &report.problems[0];
        assert_eq!(problem.line, 2);
        problem.what.clone()
    };
    assert!(told(Things::Machines, "running_hours", "1,10000001".into()).contains("more than 10000000"));
    assert!(told(Things::Machines, "site", format!("1,{long}")).contains("longer than 200"));
    assert!(told(Things::Machines, "number", "1,99999999999999999999".into()).contains("no whole number"));
    let began = "2026-03-01T09:01:00Z";
    assert!(told(Things::Calls, "began,visit", format!("1,{began},100001")).contains("more than 100000"));
    let serial = "\"'=HYPERLINK(\"\"http://x\"\")\"";
    for (field, value, why) in [
        ("minutes", "100000.5", "more than 100000"),
        ("visits", "1001", "more than 1000"),
        ("parts", "10001 x fuse", "more than 10000"),
        ("parts", "1 x fuse @ 10000000.5", "more than 10000000"),
        ("minutes", "1e999", "is no number"),
    ] {
        let row = format!("{serial},{began},1,phone,{value}");
        let said = told(Things::Findings, &format!("began,sure,solved,{field}"), row);
        assert!(said.contains(why), "{field} {value}: {said}");
    }
    let span = "2026-05-01T00:00:00Z,2026-06-01T00:00:00Z";
    for (rest, why) in [
        ("10000001,hours", "more than 10000000"),
        ("1e13,cycles", "more than 1000000000000"),
        ("-1,hours", "no amount"),
        ("1,minutes", "no unit"),
    ] {
        let said = told(Things::Hours, "since,until,amount,unit", format!("{serial},{span},{rest}"));
        assert!(said.contains(why), "{rest}: {said}");
    }
    for (values, why) in [
        ("stroke = 1e16 mm", "too large"),
        ("stroke 5 mm", "is no measured value"),
        ("stroke = five mm", "is no number"),
        ("stroke = 5 mm [four to six]", "is no number"),
        ("stroke = 5 mm [6]", "is no measured value"),
    ] {
        let row = format!("{serial},2026-05-01T00:00:00Z,priming,{values}");
        let said = told(Things::Procedures, "at,name,values", row);
        assert!(said.contains(why), "{values}: {said}");
    }
}

#[test]
fn hours_count_once_and_measured_values_are_not_overwritten() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let machine = store.add_machine(&new_machine(added, "JC-1"), minute(0)).unwrap();
    let head = "machine_type,serial,since,until,amount\n";
    let row = |since: &str, until: &str, amount: &str| {
        format!("jar-capper,jc-1,2026-{since}T00:00:00Z,2026-{until}T00:00:00Z,{amount}\n")
    };
    let text = format!("{head}{}{}", row("01-01", "02-01", "\"200,5\""), row("02-01", "03-01", "180"));
    assert_eq!(import(&mut store, Things::Hours, Format::Csv, &text).added, 2);
    assert_eq!(import(&mut store, Things::Hours, Format::Csv, &text).unchanged, 2);
    let other = format!("{head}{}", row("02-01", "03-01", "190"));
    assert_eq!(import(&mut store, Things::Hours, Format::Csv, other).changed, 1);
    for wrong in [row("01-15", "02-15", "100"), row("03-02", "03-01", "1")] {
        let report = import(&mut store, Things::Hours, Format::Csv, format!("{head}{wrong}"));
        assert_eq!(report.problems.len(), 1, "{wrong}");
    }
    let amounts: Vec<f64> = store.exposures(machine).unwrap().iter().map(|one| one.amount).collect();
    assert_eq!(amounts, [200.5, 190.0]);
    let head = "machine_type,serial,at,name,completed,values\n";
    let run = |values: &str| format!("{head}jar-capper,JC-1,2026-01-05T08:00:00Z,priming,yes,{values}\n");
    assert_eq!(import(&mut store, Things::Procedures, Format::Csv, run("stroke = 52 mm [40 to 60]")).added, 1);
    assert_eq!(import(&mut store, Things::Procedures, Format::Csv, run("stroke = 52 mm [40 to 60]")).unchanged, 1);
    let report = import(&mut store, Things::Procedures, Format::Csv, run("stroke = 53 mm [40 to 60]"));
    assert!(report.problems[0].what.contains("something else was measured"), "{report:?}");
    let runs = store.procedure_runs(machine, 9).unwrap();
    assert_eq!((runs.len(), runs[0].values[0].highest), (1, Some(60.0)));
    let unknown = format!("{head}jar-capper,JC-9,2026-01-05T08:00:00Z,priming,yes,\n");
    assert!(import(&mut store, Things::Procedures, Format::Csv, unknown).problems[0].what.contains("JC-9"));
}

#[test]
fn a_revision_or_setting_that_the_machine_file_does_not_have_is_told_with_the_nearest() {
    let mut store = Store::in_memory().unwrap();
    let filler = include_str!("../../../../demos/jar-filler.toml");
    let washer = include_str!("../../../../demos/parts-washer.toml");
    for (name, text) in [("filler", filler), ("washer", washer), ("capper", CAPPER)] {
        store.add_version(&NewVersion { name, text, ..NewVersion::default() }, minute(0)).unwrap();
    }
    let text = "machine_type,serial,revision,settings\n\
                filler,1,,fil_time=T#3s\n\
                filler,2,,fill_time=often\n\
                washer,3,Z,\n\
                capper,4,A,\n\
                filler,5,,fill_time=T#3s\n\
                washer,6,B,\n";
    let report = import(&mut store, Things::Machines, Format::Csv, text);
    let told: Vec<(u64, &str, &str)> =
        report.problems.iter().map(|one| (one.line, one.what.as_str(), one.hint.as_str())).collect();
    assert_eq!(
        told.iter().map(|(line, what, _)| (*line, *what)).collect::<Vec<_>>(),
        [
            (2, "settings: there is no setting `fil_time`"),
            (3, "settings: `often` is no value for the setting `fill_time`"),
            (4, "revision: there is no revision `Z`"),
            (5, "revision: there is no revision `A`"),
        ]
    );
    assert!(told[0].2.contains("did you mean fill_time"), "{told:?}");
    assert!(told[2].2.contains('B') && told[3].2.contains("no revisions"), "{told:?}");
    let good: Vec<&str> =
        text.lines().enumerate().filter(|(at, _)| ![1, 2, 3, 4].contains(at)).map(|(_, line)| line).collect();
    assert!(import(&mut store, Things::Machines, Format::Csv, good.join("\n")).kept);
    let call = "machine_type,serial,began,settings\nfiller,9,2026-01-01T00:00:00Z,fil_time=T#3s\n";
    assert_eq!(problems(&import(&mut store, Things::Calls, Format::Csv, call))[0].0, 2);
}

#[test]
fn a_serial_number_that_is_a_path_names_no_file() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    let folder = crate::support::Folder::new("paths");
    let inside = folder.file("x.toml");
    std::fs::write(&inside, CAPPER).unwrap();
    let before = std::fs::read_dir(folder.path()).unwrap().count();
    let text = format!(
        "machine_type,serial,site,notes\njar-capper,{path},{path},file://{path}\n{path},1,,\n",
        path = inside.display()
    );
    let report = import(&mut store, Things::Machines, Format::Csv, &text);
    assert_eq!(report.problems.len(), 1, "{:?}", report.problems);
    assert!(report.problems[0].what.contains("no such thing in the records"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), before);
    assert_eq!(std::fs::read_to_string(&inside).unwrap(), CAPPER);
    let call = NewCall::Of { machine_type: store.machine_types().unwrap()[0].id, choice: Choice::default() };
    store.begin_call(&call, minute(0)).unwrap();
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn no_bytes_do_any_harm(bytes in prop::collection::vec(any::<u8>(), 0..300), json in any::<bool>(), which in 0_usize..5) {
        let mut store = Store::in_memory().unwrap();
        let format = if json { Format::JsonLines } else { Format::Csv };
        let report = store.import(Things::ALL[which], format, &bytes, false, minute(0)).unwrap();
        prop_assert_eq!(report.added, 0);
    }

    #[test]
    fn any_texts_come_back_the_same(serial in "[^\\p{C}\\s][^\\p{C}]{0,20}", notes in "\\PC{0,60}", contact in "\\PC{0,30}") {
        let mut store = Store::in_memory().unwrap();
        let added = add_capper(&mut store);
        let new = records::NewMachine { notes, contact, ..new_machine(added, &serial) };
        store.add_machine(&new, minute(0)).unwrap();
        for format in [Format::Csv, Format::JsonLines] {
            let text = exported(&store, Things::Machines, format);
            let mut other = Store::in_memory().unwrap();
            add_capper(&mut other);
            let report = import(&mut other, Things::Machines, format, &text);
            prop_assert!(report.kept, "{:?}", report.problems);
            prop_assert_eq!(exported(&other, Things::Machines, format), text);
        }
    }
}
