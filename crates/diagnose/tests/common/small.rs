//! Small machines made at random, the same for the same seed.

use diagnose::Alternative;
use diagnose::evidence::{
    CheckReport, Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming, PositionReport,
};
use machine::id::{Id, RoutineId, Table};
use machine::model::{
    AfterEvents, Answer, Chance, Check, Deviation, DeviationKind, Device, FaultEffect, Forced, HandMove, InputStage,
    LampKind, MechanismClass, Observable, OutputStage, Rate, Remedy, Source, StatusMeaning, SupplyKind, Words,
};
use machine::{Choice, Machine, Source as Text};
use sim::{Engine, Limits, Plant};

/// A generator of random numbers (SplitMix64; Steele, Lea and Flood 2014, from memory).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// One of `0..n`.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    pub fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }

    pub fn pick<'l, T>(&mut self, list: &'l [T]) -> &'l T {
        &list[self.below(list.len())]
    }
}

/// The text of a machine file with one or two cylinders, a door, a part, and a chart of two to four steps.
pub fn text(dice: &mut Dice) -> String {
    let cylinders = if dice.percent(45) { vec!["ram"] } else { vec!["ram", "gate"] };
    let fuse = dice.percent(60);
    let door = dice.percent(60);
    let feed = if fuse { "F1" } else { "dc24" };
    let mut inputs = vec!["lit = \"start = pressed\"".to_string()];
    if door {
        inputs.push("lit = \"door = shut\"".to_string());
    }
    inputs.push(format!("lit = \"part = there\", supply = \"{feed}\""));
    for cylinder in &cylinders {
        inputs.push(format!("is = \"reed-switch\", lit = \"{cylinder} = out\", supply = \"{feed}\""));
        if cylinders.len() == 1 || dice.percent(50) {
            let delay = if dice.percent(25) { ", on_delay = \"T#300ms\"" } else { "" };
            inputs.push(format!("is = \"reed-switch\", lit = \"{cylinder} = back\", supply = \"{feed}\"{delay}"));
        }
    }
    inputs.truncate(6);
    let has = |fact: &str, inputs: &[String]| inputs.iter().any(|input| input.contains(fact));
    let mut outputs = Vec::new();
    let mut stays = Vec::new();
    for cylinder in &cylinders {
        if dice.percent(70) {
            let takes = dice.pick(&["T#700ms", "T#1.2s"]);
            outputs.push(format!("is = \"solenoid-valve-single\", moves = \"{cylinder} out\", takes = \"{takes}\""));
            stays.push(false);
        } else {
            outputs.push(format!("is = \"solenoid-valve-double\", moves = \"{cylinder} out\""));
            outputs.push(format!("is = \"solenoid-valve-double\", moves = \"{cylinder} back\""));
            stays.push(true);
        }
    }
    let mut needs = vec!["\"part = there\"".to_string()];
    if door {
        needs.push("\"door = shut\"".to_string());
    }
    if has("ram = back", &inputs) {
        needs.push("\"ram = back\"".to_string());
    }
    let edge = dice.percent(50);
    let mut steps = Vec::new();
    let limit = |dice: &mut Dice| {
        if dice.percent(40) { ", timeout = \"T#6s\", on_timeout = \"go to fault\"" } else { "" }
    };
    steps.push(format!("work = {{ do = \"ram out\", until = \"ram = out\"{} }}", limit(dice)));
    if cylinders.len() == 2 {
        steps.push(format!("hold = {{ do = \"gate out\", until = \"gate = out\"{} }}", limit(dice)));
    }
    if !edge || steps.len() < 2 && dice.percent(50) {
        steps.push("rest = \"wait T#2s\"".to_string());
    }
    let mut back = vec!["\"ram back\""];
    if cylinders.len() == 2 {
        back.push("\"gate back\"");
    }
    let until = match (has("ram = back", &inputs), has("gate = back", &inputs)) {
        (true, _) => "ram = back",
        (_, true) => "gate = back",
        _ => "T#3s",
    };
    steps.push(format!("home = {{ do = [{}], until = \"{until}\"{} }}", back.join(", "), limit(dice)));
    if steps.iter().any(|step| step.contains("fault")) {
        steps.push(
            "fault = { run = \"Q9 blinking\", until = \"start = pressed\", next = \"ready\", alarm = true }".into(),
        );
    }
    let interlock = match (door, dice.below(4)) {
        (true, 0) => "interlocks = [{ needs = \"door = shut\", on_loss = \"hold, outputs off\" }]\n",
        (true, 1) => "interlocks = [{ needs = \"door = shut\", on_loss = \"go to ready\" }]\n",
        _ => "on_loss = \"nothing\"\n",
    };
    let mut routine = vec!["{ do = \"part there\", forgotten = \"1 in 50\", noticed = \"3 in 4\" }".to_string()];
    if door {
        routine.push("{ do = \"door shut\", forgotten = \"1 in 30\" }".to_string());
    }
    routine.push("\"press start\"".to_string());
    if routine.len() < 4 && dice.percent(35) {
        let wait = if dice.percent(60) { "wait = \"T#1500ms\"" } else { "wait = \"T#400ms\"" };
        let last = routine.len() - 1;
        routine[last] = format!("{{ do = \"press start\", {wait} }}");
        routine.push(if door { "\"door open\"".to_string() } else { "\"part gone\"".to_string() });
    }
    let numbered = |letter: &str, list: &[String]| {
        list.iter().enumerate().map(|(at, row)| format!("{letter}{at} = {{ {row} }}\n")).collect::<String>()
    };
    let fuse = if fuse { "F1 = { is = \"fuse\", from = \"dc24\" }\n" } else { "" };
    format!(
        "format = 1\n[machine]\nname = \"Small machine\"\nhours_since_well = {}\n\
         [supplies]\ndc24 = {{ is = \"power-supply-24v\" }}\n{fuse}air = {{ is = \"compressed-air\", shut_by_hand = \"1 in 100\" }}\n\
         [mechanisms]\npart = {{ positions = [\"gone\", \"there\"], by = \"hand\" }}\n{}\
         [lamps]\nrows = [{{ title = \"inputs\", labels = \"{} POWER\" }}, {{ title = \"outputs\", labels = \"{} Q9\" }}]\n\
         [lamps.status]\nPOWER = \"powered\"\n\
         [inputs]\n{}[outputs]\n{}Q9 = {{ is = \"indicator-lamp\" }}\n\
         [charts.cycle]\nstart = \"{}\"\nneeds = [{}]\n{interlock}[charts.cycle.steps]\n{}\n\
         [routines.make]\ndo = [{}]\n",
        100 * (1 + dice.below(300)),
        if door { "door = { positions = [\"open\", \"shut\"], by = \"hand\" }\n" } else { "" },
        (0..inputs.len()).map(|at| format!("I{at}")).collect::<Vec<_>>().join(" "),
        (0..outputs.len()).map(|at| format!("Q{at}")).collect::<Vec<_>>().join(" "),
        numbered("I", &inputs),
        numbered("Q", &outputs),
        if edge { "R_TRIG(start = pressed)" } else { "start = pressed" },
        needs.join(", "),
        steps.join("\n"),
        routine.join(", "),
    )
}

/// Faults of one thing, which exclude each other: key, rate per million hours, effect.
type Faults = Vec<(String, f64, FaultEffect)>;

fn point_faults(machine: &Machine, dice: &mut Dice) -> Vec<Faults> {
    let mut all = Vec::new();
    let stages = [InputStage::Target, InputStage::Sensor, InputStage::Cable, InputStage::Terminal, InputStage::Card];
    for (id, row) in machine.inputs.iter() {
        let mut modes = Vec::new();
        for (word, forced) in [("off", Forced::Off), ("on", Forced::On)] {
            if dice.percent(65) {
                let stage = *dice.pick(&stages);
                modes.push((format!("{}/{stage:?} {word}", row.label), 0.0, FaultEffect::Input(id, stage, forced)));
            }
        }
        all.push(modes);
        if dice.percent(40) {
            let stage = *dice.pick(&[InputStage::Card, InputStage::Lamp, InputStage::Terminal]);
            let key = format!("{} again/{stage:?} off", row.label);
            all.push(vec![(key, 0.0, FaultEffect::Input(id, stage, Forced::Off))]);
        }
    }
    for (id, row) in machine.outputs.iter() {
        let (stage, forced) = *dice.pick(&[
            (OutputStage::Card, Forced::Off),
            (OutputStage::Coil, Forced::Off),
            (OutputStage::Card, Forced::On),
            (OutputStage::Valve, Forced::On),
            (OutputStage::Valve, Forced::Off),
            (OutputStage::Lamp, Forced::Off),
        ]);
        let key = format!("{}/{stage:?} {forced:?}", row.tag);
        all.push(vec![(key, 0.0, FaultEffect::Output(id, stage, forced))]);
    }
    all
}

fn other_faults(machine: &Machine, dice: &mut Dice) -> Vec<Faults> {
    let mut all = Vec::new();
    for (id, row) in machine.supplies.iter() {
        all.push(vec![(format!("{}/missing", row.name), 0.0, FaultEffect::Supply(id, Forced::Off))]);
    }
    for (id, row) in machine.mechanisms.iter().filter(|(_, row)| row.class == MechanismClass::Driven) {
        all.push(vec![
            (format!("{}/stuck", row.name), 0.0, FaultEffect::Stuck(id)),
            (format!("{}/slow", row.name), 0.0, FaultEffect::Slow(id, *dice.pick(&[250, 900]))),
        ]);
    }
    if dice.percent(30) {
        all.push(vec![("controller/stopped".to_string(), 0.0, FaultEffect::ControllerStopped)]);
    }
    all
}

fn lapses(machine: &Machine) -> Vec<(String, FaultEffect)> {
    let mut all = Vec::new();
    for (routine, row) in machine.routines.iter() {
        for (at, action) in row.actions.iter().enumerate() {
            let mut key = format!("not done: {}", action.short);
            if all.iter().any(|(known, _)| *known == key) {
                key += &format!(" ({}, {at})", row.name);
            }
            all.push((key, FaultEffect::Forgotten(routine, u32::try_from(at).unwrap())));
        }
    }
    for (id, row) in machine.supplies.iter().filter(|(_, row)| row.kind == SupplyKind::Air) {
        all.push((format!("{} shut", row.name), FaultEffect::Supply(id, Forced::Off)));
    }
    for (id, row) in machine.mechanisms.iter().filter(|(_, row)| row.class == MechanismClass::Hand) {
        all.push((format!("{} found {}", row.name, row.positions[1]), FaultEffect::Found(id, 1)));
    }
    all
}

/// Takes some of a list, in its order.
fn some<T>(mut list: Vec<T>, count: usize, dice: &mut Dice) -> Vec<T> {
    while list.len() > count {
        list.remove(dice.below(list.len()));
    }
    list
}

/// Puts deviations of its own into a machine, so that the numbers of the device library play no part.
fn deviate(machine: &mut Machine, [of_points, others, of_people]: [usize; 3], dice: &mut Dice) {
    let points = point_faults(machine, dice).into_iter().filter(|modes| !modes.is_empty()).collect();
    let mut faults = some(points, of_points, dice);
    faults.extend(some(other_faults(machine, dice), others, dice));
    let lapses = some(lapses(machine), of_people, dice);
    let device = machine.devices.rows().next().unwrap().clone();
    machine.devices = Table::new();
    machine.deviations = Table::new();
    let deviation = |key: String, kind, chance, effect| Deviation {
        words: Words::plain(key.clone()),
        key,
        kind,
        rate: Rate { chance, source: Source::File },
        effects: vec![effect],
        after: AfterEvents::default(),
        remedy: None,
    };
    for modes in faults {
        let id = machine.devices.push(Device { modes: Vec::new(), name: modes[0].0.clone(), ..device.clone() });
        for (key, _, effect) in modes {
            let rate = Chance::PerMillionHours((1 + dice.below(400)) as f64 / 64.0);
            let mode = machine.deviations.push(deviation(key, DeviationKind::Fault(id), rate, effect));
            machine.devices[id].modes.push(mode);
        }
    }
    for (key, effect) in lapses {
        let chance = Chance::EachTime((1 + dice.below(30)) as f64 / 1024.0);
        machine.deviations.push(deviation(key, DeviationKind::Lapse, chance, effect));
    }
}

/// Two or three checks of stages of input chains.
fn check(machine: &mut Machine, dice: &mut Dice) {
    let Some(check) = machine.checks.rows().next().cloned() else { return };
    machine.checks = Table::new();
    let stages = [InputStage::Target, InputStage::Sensor, InputStage::Cable, InputStage::Terminal, InputStage::Card];
    for at in 0..3 {
        let observes = Observable::InputStage(Id::new(dice.below(machine.inputs.len())), *dice.pick(&stages));
        let error = (1 + dice.below(6)) as f64 / 128.0;
        machine.checks.push(Check { key: format!("check {at}"), observes, error, ..check.clone() });
        let on_and_off = ["on", "off"].map(|key| Answer { key: key.to_string(), words: Words::plain(key) });
        machine.checks[Id::new(at)].answers = on_and_off.to_vec();
    }
}

/// A machine with eight to eleven deviations.
pub fn machine(dice: &mut Dice) -> Machine {
    machine_with([4, 2, 2], dice)
}

/// A machine with so many faulty points, other faulty things, and lapses.
pub fn machine_with(deviations: [usize; 3], dice: &mut Dice) -> Machine {
    let text = text(dice);
    read(&text, deviations, dice)
}

/// A machine of which the file leaves something open: what the loss of a guard does, or of which revision it is, so that
/// it may be one of several.
pub fn machines(deviations: [usize; 3], dice: &mut Dice) -> Vec<Alternative> {
    let mut text = text(dice);
    let door = text.contains("door = {");
    let both = dice.percent(30);
    if door && (both || dice.percent(50)) {
        let known =
            text.lines().find(|line| line.starts_with("interlocks =") || line.starts_with("on_loss =")).unwrap();
        text = text.replace(known, "interlocks = [{ needs = \"door = shut\" }]");
    }
    if both || !text.contains("{ needs = \"door = shut\" }") {
        text = text.replace("[machine]\n", "[machine]\nrevision = \"A\"\nserials = \"1-99\"\n");
        let inputs = text.lines().filter(|line| line.starts_with('I')).count();
        let labels = (0..inputs).map(|at| format!("I{at}")).collect::<Vec<_>>().join(" ");
        let outputs = text.lines().filter(|line| line.starts_with('Q')).count();
        let outs = (0..outputs - 1).map(|at| format!("Q{at}")).collect::<Vec<_>>().join(" ");
        text += &format!(
            "[revisions.B]\nserials = \"100-\"\nabout = \"tray\"\n\
             [revisions.B.change.lamps]\nrows = [{{ title = \"inputs\", labels = \"N0 {labels} POWER\" }}, \
             {{ title = \"outputs\", labels = \"{outs} Q9\" }}]\n\
             [revisions.B.change.inputs]\nN0 = {{ lit = \"tray = in\" }}\n\
             [revisions.B.change.mechanisms]\ntray = {{ positions = [\"off\", \"in\"], by = \"hand\" }}\n",
        );
        if dice.percent(50) {
            text += "[revisions.B.change.mechanisms.part]\npositions = [\"there\", \"gone\"]\nrest = \"gone\"\n";
        }
        if dice.percent(50) {
            let made = text.find("[routines.make]\ndo = [").unwrap() + "[routines.make]\ndo = [".len();
            let done = text[made..].lines().next().unwrap().to_string();
            text += &format!("[revisions.B.change.routines.make]\ndo = [\"tray in\", {done}\n");
        }
    }
    let resolved = machine::read(Text::new("small.toml", &text), &[]).resolve(&Choice::default());
    assert!(!resolved.problems.iter().any(machine::Problem::is_error), "{:#?}\n{text}", resolved.problems);
    let seed = dice.next();
    let mut alternatives = resolved.alternatives;
    for one in &mut alternatives {
        let mut dice = Dice(seed);
        deviate(&mut one.machine, deviations, &mut dice);
        check(&mut one.machine, &mut dice);
        mend(&mut one.machine, &mut dice);
    }
    alternatives
}

fn read(text: &str, deviations: [usize; 3], dice: &mut Dice) -> Machine {
    let mut machine = match machine::load_str("small.toml", text) {
        Ok(machine) => machine,
        Err(problems) => panic!("{problems:#?}\n{text}"),
    };
    deviate(&mut machine, deviations, dice);
    check(&mut machine, dice);
    machine
}

/// A machine whose program remembers: latches set by inputs or by steps, a counter, and a second cycle that they bear on.
pub fn machine_that_remembers(deviations: [usize; 3], dice: &mut Dice) -> Machine {
    let mut text = text(dice);
    let at_power_on = if dice.percent(40) { ", at_power_on = true" } else { "" };
    let set = *dice.pick(&["part = there", "R_TRIG(part = there)", "cycle.ready.X AND part = there"]);
    let reset = *dice.pick(&["ram = out", "F_TRIG(start = pressed)", "cycle.home.X", "FALSE"]);
    let latches = format!(
        "[latches]\narmed = {{ set = \"{set}\", reset = \"{reset}\"{at_power_on} }}\n\
         made = {{ set = \"{}\", reset = \"NOT part = there\" }}\n[counters]\nparts = {{}}\n[charts.cycle]",
        dice.pick(&["FALSE", "ram = out"]),
    );
    text = text.replace("[charts.cycle]", &latches);
    let needs =
        dice.pick(&["\"armed\", ", "\"armed\", \"NOT made\", ", "\"parts < 1\", ", "\"armed\", \"parts < 2\", "]);
    text = text.replace("needs = [", &format!("needs = [{needs}"));
    let work = *dice.pick(&["set = \"made\", ", "count = \"parts\", ", "clear = \"parts\", reset = \"armed\", "]);
    text = text.replace("work = { ", &format!("work = {{ {work}"));
    let home = *dice.pick(&["count = \"parts\", ", "set = \"armed\", count = \"parts\", ", "reset = \"made\", "]);
    text = text.replace("home = { ", &format!("home = {{ {home}"));
    if dice.percent(60) {
        let end = text.rfind(']').unwrap();
        text.insert_str(end, ", \"press start\"");
    }
    read(&text, deviations, dice)
}

/// A machine with a second routine, and sometimes a third.
pub fn machine_with_routines(deviations: [usize; 3], dice: &mut Dice) -> Machine {
    let mut text = text(dice);
    text += &format!(
        "[routines.clear]\ndo = [{}]\n",
        dice.pick(&[
            "\"part gone\", \"press start\"",
            "\"press start\", { do = \"part there\", forgotten = \"1 in 40\" }, \"press start\"",
            "{ do = \"part there\", forgotten = \"1 in 40\" }",
        ]),
    );
    if dice.percent(50) {
        text += "[routines.again]\ndo = [\"part there\", \"press start\", \"part gone\"]\n";
    }
    read(&text, deviations, dice)
}

/// Things that somebody does unasked: one or two.
pub fn unasked(machine: &mut Machine, dice: &mut Dice) {
    let mut all = vec![("switched off".to_string(), HandMove::PowerCycle)];
    for (id, row) in machine.mechanisms.iter() {
        match row.class {
            MechanismClass::Button => all.push((format!("{} pressed", row.name), HandMove::Press(id, 500))),
            MechanismClass::Hand | MechanismClass::Driven => {
                let to = u8::try_from(dice.below(row.positions.len())).unwrap();
                all.push((format!("{} {}", row.name, row.positions[usize::from(to)]), HandMove::Put(id, to)));
            }
        }
    }
    let count = 1 + dice.below(2);
    for (key, movement) in some(all, count, dice) {
        machine.deviations.push(Deviation {
            words: Words::plain(key.clone()),
            key: format!("unasked: {key}"),
            kind: DeviationKind::Lapse,
            rate: Rate { chance: Chance::EachTime((1 + dice.below(30)) as f64 / 1024.0), source: Source::File },
            effects: vec![FaultEffect::Unasked(movement)],
            after: AfterEvents::default(),
            remedy: None,
        });
    }
}

/// What was said in later moments of whether the machine runs.
pub fn say_whether_it_runs(evidence: &mut Evidence, dice: &mut Dice) {
    for moment in evidence.moments.iter_mut().skip(1) {
        moment.runs = dice.percent(80).then(|| dice.percent(50));
    }
}

/// Adds a device with faults that exclude each other.
fn add_faults(machine: &mut Machine, modes: Vec<(String, FaultEffect)>, dice: &mut Dice) {
    let device = machine.devices.rows().next().unwrap().clone();
    let id = machine.devices.push(Device { modes: Vec::new(), name: modes[0].0.clone(), ..device });
    for (key, effect) in modes {
        let chance = Chance::PerMillionHours((1 + dice.below(400)) as f64 / 64.0);
        let mode = machine.deviations.push(Deviation {
            words: Words::plain(key.clone()),
            key,
            kind: DeviationKind::Fault(id),
            rate: Rate { chance, source: Source::File },
            effects: vec![effect],
            after: AfterEvents::default(),
            remedy: None,
        });
        machine.devices[id].modes.push(mode);
    }
}

/// A mechanism that creeps away or stops short.
pub fn creep(machine: &mut Machine, dice: &mut Dice) {
    let driven: Vec<_> =
        machine.mechanisms.iter().filter(|(_, row)| row.class == MechanismClass::Driven).map(|(id, _)| id).collect();
    let id = *dice.pick(&driven);
    let from = u8::try_from(dice.below(2)).unwrap();
    let ms = *dice.pick(&[900, 4_000, 30_000]);
    let short = u8::try_from(dice.below(2)).unwrap();
    let name = machine.mechanisms[id].name.clone();
    let modes = vec![
        (format!("{name}/creeps"), FaultEffect::Creeps(id, from, 1 - from, ms)),
        (format!("{name}/stops short"), FaultEffect::StopsShort(id, short)),
    ];
    add_faults(machine, modes, dice);
}

/// A contact that comes and goes slowly, and filter times: what the program reads follows late, at the input where the
/// contact is loose, if it is one of an input, and at some others.
pub fn chatter_delayed(machine: &mut Machine, dice: &mut Dice) {
    chatter_with(machine, &[(2_400, 600), (4_000, 250), (4_000, 1_000)], dice);
    let loose = match machine.deviations.rows().next_back().unwrap().effects[0] {
        FaultEffect::Input(input, ..) => Some(input),
        _ => None,
    };
    for id in machine.inputs.ids().collect::<Vec<_>>() {
        if loose == Some(id) || dice.percent(25) {
            let row = &mut machine.inputs[id];
            (row.on_delay_ms, row.off_delay_ms) = *dice.pick(&[(50, 50), (0, 200), (200, 0), (50, 600), (300, 300)]);
        }
    }
}

/// A second contact that comes and goes, at another point than the first and with other times.
pub fn chatter_elsewhere(machine: &mut Machine, dice: &mut Dice) {
    let loose = |machine: &Machine| machine.deviations.rows().next_back().unwrap().effects[0];
    let place = |effect: FaultEffect| match effect {
        FaultEffect::Input(input, ..) => (0, input.index()),
        FaultEffect::Output(output, ..) => (1, output.index()),
        FaultEffect::Supply(supply, _) => (2, supply.index()),
        other => panic!("{other:?} does not chatter"),
    };
    let first = place(loose(machine));
    loop {
        let mut other = machine.clone();
        chatter_with(&mut other, &[(500, 150), (1_500, 250), (3_100, 700)], dice);
        if place(loose(&other)) != first {
            *machine = other;
            return;
        }
    }
}

/// A contact that comes and goes: of an input that the program reads at once, of an output, or of a supply.
pub fn chatter(machine: &mut Machine, dice: &mut Dice) {
    chatter_with(machine, &[(300, 100), (900, 100), (2_400, 600), (4_000, 1_000)], dice);
}

fn chatter_with(machine: &mut Machine, times: &[(u32, u32)], dice: &mut Dice) {
    let (made, broken) = *dice.pick(times);
    let forced = Forced::Chatters(made, broken);
    let inputs: Vec<_> = machine.inputs.iter().filter(|(_, row)| row.on_delay_ms == 0).map(|(id, _)| id).collect();
    let stages = [InputStage::Sensor, InputStage::Cable, InputStage::Terminal, InputStage::Card];
    let (name, effect) = match dice.below(100) {
        0..=69 => {
            let id = *dice.pick(&inputs);
            (machine.inputs[id].label.clone(), FaultEffect::Input(id, *dice.pick(&stages), forced))
        }
        70..=89 => {
            let id = Id::new(dice.below(machine.outputs.len()));
            let stage = *dice.pick(&[OutputStage::Card, OutputStage::Cable, OutputStage::Coil]);
            (machine.outputs[id].tag.clone(), FaultEffect::Output(id, stage, forced))
        }
        _ => {
            let id = Id::new(dice.below(machine.supplies.len()));
            (machine.supplies[id].name.clone(), FaultEffect::Supply(id, forced))
        }
    };
    add_faults(machine, vec![(format!("{name}/loose"), effect)], dice);
}

/// What somebody reports who looks at a machine, with some misreadings.
fn look(machine: &Machine, engine: &Engine<'_>, moment: &mut Moment, dice: &mut Dice) {
    let layout = engine.plant().layout();
    let all = dice.percent(50);
    for (row, lamps) in machine.lamp_rows.iter().enumerate() {
        for (column, lamp) in lamps.lamps.iter().enumerate() {
            if !all && dice.percent(50) {
                continue;
            }
            let lit = match &lamp.kind {
                LampKind::Input(input) => engine.on(layout.input(*input)),
                LampKind::Output(output) => engine.on(layout.command(*output)),
                LampKind::Status(StatusMeaning::Powered) => engine.on(layout.powered()),
                _ => false,
            };
            let blinks = matches!(lamp.kind, LampKind::Output(output) if lit && engine.blinks(output));
            let state = match (dice.percent(4), lit, blinks) {
                (true, true, _) | (_, false, _) => LampState::Dark,
                (_, _, true) => LampState::Flickers,
                _ => LampState::Lit,
            };
            let naming = if lit || dice.percent(20) { Naming::Named } else { Naming::Rest };
            moment.lamps.push(LampReport { place: LampPlace { row, column }, state, naming });
        }
    }
    if dice.percent(40) {
        let mechanism = Id::new(dice.below(machine.mechanisms.len()));
        let count = machine.mechanisms[mechanism].positions.len();
        let at = (0..count).map(|at| u8::try_from(at).unwrap()).find(|at| engine.on(layout.at(mechanism, *at)));
        moment.positions.push(PositionReport { mechanism, position: at });
    }
    for check in machine.checks.ids() {
        if dice.percent(30) {
            moment.checks.push(CheckReport { check, answer: dice.below(2) });
        }
    }
}

/// What a machine with a random deviation shows after a random part of the routine, with some misreadings.
pub fn evidence(machine: &Machine, dice: &mut Dice) -> Evidence {
    evidence_of(machine, 0, dice)
}

/// The same, going on for so many moments: with the next action, something else that a hand does, a remedy, or a
/// second look.
pub fn evidence_of(machine: &Machine, later: usize, dice: &mut Dice) -> Evidence {
    evidence_in(machine, Id::new(0), later, dice)
}

/// The same while people are doing any of the routines, which they name or not.
pub fn evidence_in_any(machine: &Machine, later: usize, dice: &mut Dice) -> Evidence {
    let routine = Id::new(dice.below(machine.routines.len()));
    let evidence = evidence_in(machine, routine, later, dice);
    // What was done is counted in the routine that is named.
    let of_routine = |deed: &Deed| matches!(deed, Deed::Routine(_));
    let named = evidence.moments.iter().flat_map(|moment| &moment.deeds).any(of_routine) || dice.percent(30);
    Evidence { routine: named.then_some(routine), ..evidence }
}

fn evidence_in(machine: &Machine, routine: RoutineId, later: usize, dice: &mut Dice) -> Evidence {
    let plant = Plant::new(machine);
    let mut engine = Engine::new(&plant);
    let deviation =
        (!dice.percent(15)).then(|| machine.deviations[Id::new(dice.below(machine.deviations.len()))].clone());
    let actions = &machine.routines[routine].actions;
    let stages = 1 + dice.below(actions.len() + 1);
    let sets_in = dice.below(stages);
    let _ = engine.power_on();
    engine.run_to_standing(Limits::default());
    let mut did = 0;
    for stage in 0..stages {
        if let Some(deviation) = deviation.as_ref().filter(|_| stage == sets_in) {
            let _ = engine.impose(&deviation.effects);
            engine.run_to_standing(Limits::default());
            for movement in deviation.effects.iter().filter_map(FaultEffect::unasked) {
                let _ = engine.act(movement);
                engine.run_to_standing(Limits::default());
            }
        }
        if stage > 0 {
            let forgotten = deviation.as_ref().is_some_and(|deviation| {
                deviation.effects.iter().any(
                    |it| matches!(it, FaultEffect::Forgotten(of, at) if *of == routine && *at as usize == stage - 1),
                )
            });
            if !forgotten {
                let _ = engine.act(actions[stage - 1].movement);
            }
            engine.run_to_standing(Limits::default());
            did = stage;
        }
    }
    let mut moment = Moment::default();
    if dice.percent(50) {
        moment.deeds.push(Deed::Routine(did.checked_sub(1)));
    }
    look(machine, &engine, &mut moment, dice);
    let complaints = [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult];
    let complaint = dice.percent(60).then(|| *dice.pick(&complaints));
    let mut moments = vec![moment];
    for _ in 0..later {
        let mut moment = Moment::default();
        match dice.below(100) {
            0..=34 => {
                let action = if did < actions.len() && dice.percent(70) { did } else { dice.below(actions.len()) };
                moment.deeds.push(Deed::Routine(Some(action)));
                let _ = engine.act(actions[action].movement);
                did = action + 1;
            }
            35..=59 => {
                for _ in 0..1 + dice.below(2) {
                    let movement = by_hand(machine, dice);
                    moment.deeds.push(Deed::Extra(movement));
                    let _ = engine.act(movement);
                    engine.run_to_standing(Limits::default());
                }
            }
            60..=89 => {
                let remedy = Id::new(dice.below(machine.remedies.len()));
                moment.remedies.push(remedy);
                if let Some(cured) = deviation.as_ref().filter(|one| one.remedy == Some(remedy)) {
                    let _ = engine.lift(&cured.effects);
                }
                if let Some(movement) = machine.remedies[remedy].does {
                    let _ = engine.act(movement);
                }
                if dice.percent(30) {
                    moment.deeds.push(Deed::Routine(Some(actions.len() - 1)));
                    engine.run_to_standing(Limits::default());
                    let _ = engine.act(actions[actions.len() - 1].movement);
                }
            }
            _ => {}
        }
        engine.run_to_standing(Limits::default());
        look(machine, &engine, &mut moment, dice);
        moments.push(moment);
    }
    Evidence { complaint, moments, ..Evidence::default() }
}

/// Something that a hand can do to any machine.
fn by_hand(machine: &Machine, dice: &mut Dice) -> HandMove {
    let by_hand: Vec<_> = machine.mechanisms.iter().filter(|(_, row)| row.class == MechanismClass::Hand).collect();
    match dice.below(4) {
        0 => HandMove::PowerCycle,
        1 => HandMove::Supply(Id::new(dice.below(machine.supplies.len())), dice.percent(50)),
        2 => HandMove::Wait,
        _ => {
            let (id, row) = dice.pick(&by_hand);
            HandMove::Put(*id, u8::try_from(dice.below(row.positions.len())).unwrap())
        }
    }
}

/// Puts remedies of its own into a machine: one for each device, the last also for the one before it, and one for the
/// last lapse, which does something.
pub fn mend(machine: &mut Machine, dice: &mut Dice) {
    let Some(remedy) = machine.remedies.rows().next().cloned() else { panic!("no remedy to begin with") };
    machine.remedies = Table::new();
    let mut last = None;
    for (number, device) in machine.devices.ids().collect::<Vec<_>>().into_iter().enumerate() {
        let id = match last {
            Some(last) if number + 1 == machine.devices.len() => last,
            _ => machine.remedies.push(Remedy { key: format!("remedy {number}"), does: None, ..remedy.clone() }),
        };
        last = Some(id);
        for mode in machine.devices[device].modes.clone() {
            machine.deviations[mode].remedy = Some(id);
        }
    }
    let lapse = machine.deviations.iter().rfind(|(_, row)| row.kind == DeviationKind::Lapse);
    if let Some(lapse) = lapse.map(|(id, _)| id) {
        let does = Some(by_hand(machine, dice));
        let id = machine.remedies.push(Remedy { key: "remedy of the lapse".to_string(), does, ..remedy });
        machine.deviations[lapse].remedy = Some(id);
    }
}
