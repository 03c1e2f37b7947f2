//! What is reckoned here against SciPy: `tools/outside/fleet_statistics.py`.
//!
//! The answers (`outside/statistics.jsonl`, made with the version of SciPy in tools/outside/requirements.txt) are
//! committed. Where `python3` and SciPy are there, and `CI` is in the environment, they are made anew. To write them
//! anew after a change of the questions: `LAMPWISE_REMAKE=1 cargo test -p records outside`.

use crate::rates::counted;
use records::figures::{Share, between_failures, more_than_kin, stock_for};
use records::rates::{Counts, learn};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

/// What is asked, of SciPy and of the crate.
fn questions() -> Vec<Value> {
    let mut all = vec![
        json!({ "ask": "rates", "faults": [[[0.0, 1.5], [3.0, 1.5]], [[12.0, 2.0]], [[0.0, 0.02], [0.0, 4.0], [1.0, 0.3]]] }),
        json!({ "ask": "rates", "faults": [[[0.0, 0.0005]]] }),
        json!({ "ask": "rates", "faults": [[[150.0, 30.0], [20.0, 6.0]], [[0.0, 9.0], [7.0, 9.0], [2.0, 1.0], [0.0, 0.4]]] }),
        json!({ "ask": "rates", "faults": [[[0.6, 0.01], [1.95, 3.2]], [[2.5, 1.0]]] }),
    ];
    for level in [0.5, 0.9, 0.95, 0.99, 0.999] {
        for mean in [0.003, 0.4, 2.5, 17.0, 230.0] {
            all.push(json!({ "ask": "stock", "level": level, "mean": mean, "shape": null }));
            for shape in [0.2, 1.5, 12.0] {
                all.push(json!({ "ask": "stock", "level": level, "mean": mean, "shape": shape }));
            }
        }
    }
    for failures in [0, 1, 2, 7, 60] {
        for confidence in [0.6, 0.9, 0.99] {
            all.push(json!({ "ask": "between", "hours": 1234.5, "failures": failures, "confidence": confidence }));
        }
    }
    all.push(json!({ "ask": "more_than_kin", "calls": [3, 0, 9, 4, 1, 2, 25], "hours": [900, 1200, 1000, 800, 30, 2500, 2000] }));
    all.push(json!({ "ask": "more_than_kin", "calls": [0, 0, 1], "hours": [1, 1, 1] }));
    for (count, of) in [(0, 5), (5, 5), (1, 2), (37, 120), (399, 400)] {
        all.push(json!({ "ask": "share", "count": count, "of": of }));
    }
    all
}

/// The greatest relative difference between an answer of SciPy and ours.
fn difference(question: &Value, answer: &Value) -> f64 {
    let number = |value: &Value| value.as_f64().unwrap();
    let gap = |ours: f64, theirs: &Value| (ours / number(theirs) - 1.0).abs();
    let numbers = |key: &str| question[key].as_array().unwrap().iter().map(number).collect::<Vec<f64>>();
    match question["ask"].as_str().unwrap() {
        "rates" => {
            let faults = question["faults"].as_array().unwrap();
            let mut rows = Vec::new();
            for (fault, types) in faults.iter().enumerate() {
                for (kind, row) in types.as_array().unwrap().iter().enumerate() {
                    rows.push(counted(fault, kind, number(&row[0]), number(&row[1])));
                }
            }
            let rates = learn(&Counts { rows, ..Counts::default() });
            let mut worst = 0.0_f64;
            for (ours, theirs) in rates.shapes.iter().zip(answer["shapes"].as_array().unwrap()) {
                worst = worst.max((ours.weight - number(theirs)).abs());
            }
            for learned in &rates.faults {
                let at: usize = learned.device_type.rsplit('-').next().unwrap().parse().unwrap();
                let answer = &answer["faults"][at];
                let types = answer["types"].as_array().unwrap();
                assert_eq!(types.len(), learned.types.len());
                let own = learned.types.iter().map(|one| one.factor).zip(types);
                for (ours, theirs) in own.chain([(learned.factor, &answer["new"])]) {
                    for (ours, key) in [(ours.mean, "mean"), (ours.low, "low"), (ours.high, "high")] {
                        worst = worst.max(gap(ours, &theirs[key]));
                    }
                }
            }
            worst
        }
        "stock" => {
            let ours = stock_for(number(&question["level"]), number(&question["mean"]), question["shape"].as_f64());
            (ours as f64 - number(&answer["stock"])).abs()
        }
        "between" => {
            let failures = question["failures"].as_u64().unwrap();
            let (low, high) = between_failures(number(&question["hours"]), failures, number(&question["confidence"]));
            assert_eq!(high.is_none(), answer["high"].is_null());
            gap(low, &answer["low"]).max(high.map_or(0.0, |high| gap(high, &answer["high"])))
        }
        "more_than_kin" => {
            let machines: Vec<(u64, u64, f64)> = numbers("calls")
                .into_iter()
                .zip(numbers("hours"))
                .map(|(calls, hours)| (1, calls as u64, hours))
                .collect();
            let ours = more_than_kin(&machines);
            let chances =
                ours.iter().zip(answer["chances"].as_array().unwrap()).map(|(ours, theirs)| gap(ours.chance, theirs));
            let adjusted = ours
                .iter()
                .zip(answer["adjusted"].as_array().unwrap())
                .map(|(ours, theirs)| gap(ours.adjusted, theirs));
            chances.chain(adjusted).fold(0.0, f64::max)
        }
        "share" => {
            let ours = Share::new(question["count"].as_u64().unwrap(), question["of"].as_u64().unwrap());
            (ours.low - number(&answer["low"])).abs().max((ours.high - number(&answer["high"])).abs())
        }
        other => panic!("{other}"),
    }
}

fn committed() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/outside/statistics.jsonl")
}

/// Asks the script. `None` where Python or SciPy is not there.
fn ask(questions: &[Value]) -> Option<Vec<Value>> {
    let folder = crate::support::Folder::new("outside");
    let file = folder.file("questions.jsonl");
    std::fs::write(&file, questions.iter().map(|one| format!("{one}\n")).collect::<String>()).unwrap();
    let python = std::env::var("LAMPWISE_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tools/outside/fleet_statistics.py");
    let output = match Command::new(python).arg(script).arg(&file).output() {
        Ok(output) => output,
        Err(error) => {
            println!("skipped: python3 is not there ({error})");
            return None;
        }
    };
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    if said.contains("ModuleNotFoundError") {
        println!("skipped: SciPy is not there");
        return None;
    }
    assert!(output.status.success(), "{said}");
    Some(String::from_utf8(output.stdout).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

fn compare(questions: &[Value], answers: &[Value]) {
    assert_eq!(questions.len(), answers.len(), "the answers are stale: see the top of this file");
    let mut worst = (0.0, String::new());
    for (question, answer) in questions.iter().zip(answers) {
        assert_eq!(question["ask"], answer["ask"]);
        let found = difference(question, answer);
        assert!(found < 1e-6, "{found:e}: {question} {answer}");
        if found > worst.0 {
            worst = (found, question.to_string());
        }
    }
    println!("greatest difference {:e} ({})", worst.0, worst.1);
}

#[test]
fn scipy_comes_to_the_same() {
    let questions = questions();
    if std::env::var_os("LAMPWISE_REMAKE").is_some() {
        let answers = ask(&questions).expect("python3 and SciPy are needed to make the answers");
        let lines: String = answers.iter().map(|answer| format!("{answer}\n")).collect();
        std::fs::write(committed(), lines).unwrap();
    }
    let text = std::fs::read_to_string(committed()).unwrap();
    let answers: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    compare(&questions, &answers);
    if std::env::var_os("CI").is_some()
        && let Some(answers) = ask(&questions)
    {
        compare(&questions, &answers);
    }
}
