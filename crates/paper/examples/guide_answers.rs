//! Random calls about a machine with what `diagnose` answers, as JSON, for holding an offline guide against them:
//! `cargo run -p paper --example guide_answers -- MACHINE.toml CALLS SEED FOLDER`.
//!
//! A call is a complaint, often the last thing done, a report of the lamps of a machine that really stands so,
//! with misreadings, and answers to questions, most of them true and some at random. After these come a fifth as many in
//! which remedies for an operator were tried in vain.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::Diagnoser;
use diagnose::call::code::{self, Came, Entered, Tried};
use diagnose::call::fingerprint;
use diagnose::digest::{Digest, Ground, Report, Shows, digest, remedies_of_operator};
use diagnose::evidence::{Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use machine::id::{Id, RoutineId};
use machine::{Choice, Machine, Source};
use serde_json::{Value, json};

/// Numbers that are the same everywhere: SplitMix64 (Steele, Lea and Flood 2014; from memory).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, count: usize) -> usize {
        (self.unit() * count as f64) as usize
    }

    fn by_weight(&mut self, weights: &[f64]) -> usize {
        let mut left = self.unit() * weights.iter().sum::<f64>();
        weights
            .iter()
            .position(|weight| {
                left -= weight;
                left < 0.0
            })
            .unwrap_or(weights.len() - 1)
    }
}

const COMPLAINTS: [Complaint; 4] =
    [Complaint::WontStart, Complaint::StopsMidway, Complaint::WontFinish, Complaint::WrongResult];

fn call(machine: &Machine, digest: &Digest, ground: &Ground, dice: &mut Dice) -> (Evidence, Value, Entered) {
    // Half of the calls are about what is likely, half about any way to stand alike.
    let weights: Vec<f64> = ground.rows.iter().map(|row| row.weight).collect();
    let row = if dice.unit() < 0.5 { dice.by_weight(&weights) } else { dice.below(weights.len()) };
    let row = &ground.rows[row];
    let sign = ground.signs[row.sign as usize];
    let truth = &ground.truths[sign.truth as usize];
    let complaint = (dice.unit() < 0.9).then(|| dice.below(4));
    let mut moment = Moment::default();
    let mut last = Value::Null;
    let mut entered = Entered { complaint: complaint.map(|at| COMPLAINTS[at]), ..Entered::default() };
    let mut routine = None;
    if let Some(named) = ground.routine_named.filter(|_| dice.unit() < 0.6) {
        routine = Some(named);
        let actions = machine.routines[named].actions.len();
        let stage = if dice.unit() < 0.8 { usize::from(row.stage).min(actions) } else { dice.below(actions + 1) };
        moment.deeds.push(Deed::Routine(stage.checked_sub(1)));
        entered.last = Some((named, stage.checked_sub(1)));
        last = json!(i64::try_from(stage).unwrap() - 1);
    }
    let rest = dice.unit() < 0.7;
    let unseen = if dice.unit() < 0.5 { 0.0 } else { 0.2 };
    let mut lamps = Vec::new();
    for (lamp, (place, _)) in LampPlace::all(machine).enumerate() {
        if dice.unit() < unseen {
            lamps.push(Value::Null);
            entered.lamps.push(None);
            continue;
        }
        let shows = ground.same_lamp[lamp].map_or(Shows::Steady(false), |lamp| truth[lamp]);
        let mut state = match shows {
            Shows::Steady(true) => LampState::Lit,
            Shows::Steady(false) => LampState::Dark,
            Shows::Varies(_, true) => LampState::Flickers,
            Shows::Varies(share, false) => {
                if dice.unit() < share {
                    LampState::Lit
                } else {
                    LampState::Dark
                }
            }
        };
        if dice.unit() < 0.02 {
            state = [LampState::Lit, LampState::Dark, LampState::Flickers][dice.below(3)];
        }
        let naming = if rest && state == LampState::Dark { Naming::Rest } else { Naming::Named };
        moment.lamps.push(LampReport { place, state, naming });
        entered.lamps.push(Some((state, naming)));
        lamps.push(json!({ "state": state as usize, "rest": naming == Naming::Rest }));
    }
    let mut answers: Vec<(usize, usize)> = Vec::new();
    for _ in 0..dice.below(5) {
        let question = dice.below(digest.asked.len());
        if answers.iter().any(|(known, _)| *known == question) {
            continue;
        }
        let shares = &ground.shares[question];
        let mut answer = dice.below(digest.answers[question]);
        if dice.unit() < 0.7 && ground.answers_here[question] > 0 {
            let true_one = dice.by_weight(&shares[usize::from(ground.vectors[sign.vector as usize][question])]);
            let same = &ground.same_answer[question];
            answer = same.iter().position(|here| *here == Some(true_one)).unwrap_or(answer);
        }
        answers.push((question, answer));
        entered.answers.push((digest.asked[question], Some(answer)));
        match digest.asked[question].report(machine, answer) {
            Report::Check(report) => moment.checks.push(report),
            Report::Position(report) => moment.positions.push(report),
        }
    }
    let evidence = Evidence {
        complaint: complaint.map(|at| COMPLAINTS[at]),
        routine,
        moments: vec![moment],
        ..Evidence::default()
    };
    let value = json!({
        "complaint": complaint, "routine": routine.map(RoutineId::index), "last": last, "lamps": lamps, "answers": answers,
    });
    (evidence, value, entered)
}

/// Remedies that an operator has tried in vain, such as one for what is likeliest: as further moments.
fn tried(diagnoser: &Diagnoser, evidence: &mut Evidence, entered: &mut Entered, dice: &mut Dice) -> Value {
    let Some(machine) = diagnoser.machine() else { return json!([]) };
    let own = remedies_of_operator(machine);
    let mut all = Vec::new();
    for _ in 0..=dice.below(2) {
        let answer = diagnoser.answer(evidence);
        let of_causes = answer.causes.iter().filter_map(|cause| cause.members[0].remedy.as_ref());
        let mut open = of_causes.filter_map(|key| own.iter().copied().find(|id| machine.remedies[*id].key == *key));
        let Some(remedy) = open.find(|id| !all.contains(id)) else { break };
        all.push(remedy);
        evidence.moments.push(Moment { remedies: vec![remedy], runs: Some(false), ..Moment::default() });
        entered.tried.push((Tried::Remedy(remedy), Came::AsBefore));
    }
    json!(all.iter().map(|remedy| json!({ "remedy": remedy.index(), "runs": false })).collect::<Vec<_>>())
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [path, calls, seed, folder] = arguments.as_slice() else { panic!("MACHINE.toml CALLS SEED FOLDER") };
    let text = std::fs::read_to_string(path).expect("the machine file");
    let reading = machine::read(Source::new(path.as_str(), text), &[]);
    let alternatives = reading.resolve(&Choice::default()).alternatives;
    let diagnoser =
        Diagnoser::new(alternatives.clone(), &Evidence::default().circumstances(), &sim::Options::default());
    let digest = digest(&diagnoser);
    let machine = diagnoser.machine().expect("a machine");
    let print = fingerprint(reading.sources.iter().map(|source| source.text.as_str()));
    let mut dice = Dice(seed.parse().expect("a seed"));
    let scales: Vec<f64> = digest.grounds.iter().map(|ground| ground.scale * ground.listed).collect();
    let count: usize = calls.parse().expect("a number of calls");
    let calls: Vec<Value> = (0..count + count / 5)
        .map(|number| {
            let ground = &digest.grounds[dice.by_weight(&scales)];
            let (mut evidence, mut call, mut entered) = call(machine, &digest, ground, &mut dice);
            if number >= count {
                call["tried"] = tried(&diagnoser, &mut evidence, &mut entered, &mut dice);
            }
            let code = code::encode(machine, &print, &entered).ok();
            let answer = diagnoser.answer(&evidence);
            let causes: Vec<Value> = answer.causes.iter().filter(|cause| cause.probability > 1e-4)
                .map(|cause| json!({ "words": cause.words, "probability": cause.probability, "member": cause.members[0].key }))
                .collect();
            let standing: Vec<Value> = answer.standing.iter().map(|one| json!({ "steps": one.steps, "probability": one.probability })).collect();
            json!({
                "evidence": call, "causes": causes, "nothing": answer.nothing_wrong, "unknown": answer.not_in_file,
                "standing": standing, "fact": answer.fact, "code": code,
            })
        })
        .collect();
    let document = paper::guide::document(&alternatives, &diagnoser, &print).expect("a machine");
    let folder = std::path::Path::new(folder);
    std::fs::create_dir_all(folder).expect("a folder");
    let name = std::path::Path::new(path).file_stem().unwrap().to_string_lossy().into_owned();
    std::fs::write(folder.join(format!("{name}.answers.json")), serde_json::to_string(&calls).unwrap()).unwrap();
    std::fs::write(folder.join(format!("{name}.figures.json")), serde_json::to_string(&document).unwrap()).unwrap();
    let request =
        paper::guide::Request { file: &format!("{name}.toml"), fingerprint: &print, serial: None, pictures: &[] };
    let guide = paper::guide::guide(&alternatives, &request).expect("a machine");
    std::fs::write(folder.join(format!("{name}.html")), &guide.html).unwrap();
}
