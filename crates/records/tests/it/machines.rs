use crate::support::{CAPPER, add_capper, minute, new_machine};
use records::{
    ErrorKind, Exposure, ExposureId, MachineId, Measured, NewVersion, ProcedureRun, RunId, Store, TypeId, Unit,
    VersionId,
};

#[test]
fn the_same_text_once_more_is_the_same_version() {
    let mut store = Store::in_memory().unwrap();
    let first = add_capper(&mut store);
    let newer = CAPPER.replace("Jar capper", "Jar capper 2");
    let add = |store: &mut Store, name: &str, text: &str| {
        store.add_version(&NewVersion { name, text, note: "changed", ..NewVersion::default() }, minute(5)).unwrap()
    };
    let second = add(&mut store, "jar-capper", &newer);
    assert!(second.fresh);
    assert_eq!(store.machine_type(first.machine_type).unwrap().current, second.version);
    // Large and small letters of a type's name are the same.
    let again = add(&mut store, "JAR-capper", CAPPER);
    assert!(!again.fresh);
    assert_eq!(again.version, first.version);
    let kind = store.machine_type(first.machine_type).unwrap();
    assert_eq!((kind.current, kind.versions, kind.title.as_str()), (first.version, 2, "Jar capper"));
    let versions = store.versions(first.machine_type).unwrap();
    assert_eq!(versions.iter().map(|version| version.number).collect::<Vec<_>>(), [2, 1]);
    assert_eq!(versions[0].note, "changed");
    // Another type may have the same text.
    let other = add(&mut store, "other", CAPPER);
    assert!(other.fresh && other.machine_type != first.machine_type);
    assert!(store.rename_type(other.machine_type, "Jar-Capper").is_err());
    store.rename_type(other.machine_type, "second capper").unwrap();
    assert!(store.machine_type_named("Second capper").unwrap().is_some());
}

#[test]
fn a_file_with_its_libraries_is_kept_whole() {
    let library = ("shop.toml".to_owned(), include_str!("../../../machine/tests/lint/shop-library.toml").to_owned());
    let mut store = Store::in_memory().unwrap();
    let text = "format = 1\n[types.flap-switch]\nwords = \"flap switch\"\nstands_in = \"input\"\n\
                chain = [\"target\", \"device\", \"terminal-row\", \"input-card\"]\n";
    let libraries = [("shop.toml".to_owned(), text.to_owned())];
    let new = NewVersion { name: "capper", text: CAPPER, libraries: &libraries, note: "" };
    let added = store.add_version(&new, minute(0)).unwrap();
    let kept = store.version_text(added.version).unwrap();
    assert_eq!((kept.text.as_str(), kept.libraries.as_slice()), (CAPPER, libraries.as_slice()));
    assert!(!kept.reading().resolve(&machine::Choice::default()).alternatives.is_empty());
    let texts = [CAPPER, libraries[0].1.as_str()];
    assert_eq!(kept.version.fingerprint, diagnose::call::fingerprint(texts));
    // Another library makes another version; one with mistakes makes none.
    let changed = [("shop.toml".to_owned(), libraries[0].1.replace("flap switch", "a flap switch"))];
    assert!(store.add_version(&NewVersion { libraries: &changed, ..new.clone() }, minute(1)).unwrap().fresh);
    let wrong = [library];
    assert!(store.add_version(&NewVersion { libraries: &wrong, ..new }, minute(1)).is_err());
}

#[test]
fn a_file_with_mistakes_is_not_kept() {
    let mut store = Store::in_memory().unwrap();
    for text in
        ["", "format = 1", "no toml", "format = 1\n[machine]\nname = \"x\"\n[inputs]\nX1 = { lit = \"a = b\" }\0"]
    {
        let error = store.add_version(&NewVersion { name: "x", text, ..NewVersion::default() }, minute(0)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Refused);
    }
    let long = format!("{CAPPER}{}", "# and more\n".repeat(100_000));
    assert!(store.add_version(&NewVersion { name: "x", text: &long, ..NewVersion::default() }, minute(0)).is_err());
    assert!(store.machine_types().unwrap().is_empty());
}

#[test]
fn machines_are_found_by_plate_and_by_digits() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let mut new = new_machine(added, " JC-0017 ");
    new.site = Some("Marigold Lane".to_owned());
    new.settings = vec![("b".to_owned(), "2".to_owned()), ("a".to_owned(), "1".to_owned())];
    new.running_hours = Some(1234.5);
    let id = store.add_machine(&new, minute(0)).unwrap();
    for typed in ["JC-0017", "jc-0017 ", "17", "0017"] {
        let found = store.machines_with_serial(typed).unwrap();
        assert_eq!(found.iter().map(|one| one.id).collect::<Vec<_>>(), [id], "{typed}");
        assert_eq!(found[0].settings, [("a".to_owned(), "1".to_owned()), ("b".to_owned(), "2".to_owned())]);
    }
    assert!(store.machines_with_serial("18").unwrap().is_empty());
    assert!(store.machines_with_serial("").unwrap().is_empty());
    assert!(store.machines_with_serial("99999999999999999999").unwrap().is_empty());
    let error = store.add_machine(&new_machine(added, "jc-0017"), minute(0)).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Exists);
    let kept = store.machine(id).unwrap();
    assert_eq!((kept.site_name.as_str(), kept.running_hours), ("Marigold Lane", Some(1234.5)));
    store.change_machine(id, &kept.to_new()).unwrap();
    assert_eq!(store.machine(id).unwrap(), kept);
    assert_eq!(store.sites().unwrap()[0].machines, 1);
    assert_eq!(store.machine(MachineId(77)).unwrap_err().kind, ErrorKind::Unknown);
    let mut nowhere = new_machine(added, "X");
    nowhere.machine_type = TypeId(99);
    assert_eq!(store.add_machine(&nowhere, minute(0)).unwrap_err().kind, ErrorKind::Unknown);
    let twice = vec![("a".to_owned(), "1".to_owned()); 2];
    let mut wrong = new_machine(added, "Y");
    wrong.settings = twice;
    assert_eq!(store.add_machine(&wrong, minute(0)).unwrap_err().kind, ErrorKind::Refused);
}

#[test]
fn a_site_can_be_renamed_but_not_to_another() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    for (serial, site) in [("1", "North hall"), ("2", "South hall")] {
        let mut new = new_machine(added, serial);
        new.site = Some(site.to_owned());
        store.add_machine(&new, minute(0)).unwrap();
    }
    let sites = store.sites().unwrap();
    assert_eq!(store.change_site(sites[0].id, "south HALL", "").unwrap_err().kind, ErrorKind::Exists);
    store.change_site(sites[0].id, "East hall", "ring twice").unwrap();
    assert_eq!(store.site(sites[0].id).unwrap().notes, "ring twice");
}

#[test]
fn exposure_and_procedures_read_back() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let machine = store.add_machine(&new_machine(added, "1"), minute(0)).unwrap();
    let mut span =
        Exposure { id: ExposureId(0), machine, since: minute(0), until: minute(600), amount: 8.5, unit: Unit::Hours };
    span.id = store.add_exposure(&span).unwrap();
    assert_eq!(store.exposures(machine).unwrap(), [span.clone()]);
    assert!(store.add_exposure(&Exposure { until: minute(-1), ..span.clone() }).is_err());
    assert!(store.add_exposure(&Exposure { amount: f64::INFINITY, ..span.clone() }).is_err());
    assert!(store.add_exposure(&Exposure { machine: MachineId(9), ..span }).is_err());
    let mut run = ProcedureRun {
        id: RunId(0),
        machine,
        version: added.version,
        call: None,
        at: minute(7),
        name: "hold_test".to_owned(),
        done_by: "R. Teasel".to_owned(),
        completed: true,
        note: String::new(),
        values: vec![Measured {
            what: "torque".to_owned(),
            value: 1.25,
            unit: "Nm".to_owned(),
            lowest: Some(1.0),
            highest: None,
        }],
    };
    run.id = store.add_procedure_run(&run).unwrap();
    assert_eq!(store.procedure_runs(machine, 10).unwrap(), [run.clone()]);
    let mut wrong = run.clone();
    wrong.values[0].value = f64::NAN;
    assert!(store.add_procedure_run(&wrong).is_err());
    assert!(store.add_procedure_run(&ProcedureRun { version: VersionId(99), ..run }).is_err());
    assert_eq!(store.procedure_runs(machine, 10).unwrap().len(), 1);
}
