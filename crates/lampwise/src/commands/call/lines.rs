//! `--json-lines`: the call for programs. A state goes out as one line, a request comes in as one line, and for
//! each request exactly one line goes back: the new state, an error, or what was asked for.

use diagnose::call::{Entry, EntryMistake, Kind, Question, Session, Understood};
use diagnose::reading::ReadingError;
use serde_json::{Value, json};

use super::keep::Keeper;
use super::{closing, state};
use crate::answers::Answers;
use crate::failure::Failure;
use crate::screen::Screen;

/// Requests in one call at most.
const MOST_LINES: usize = 100_000;
/// Columns of the summary.
const WIDTH: usize = 80;

/// Why a request was refused.
struct Refusal {
    code: &'static str,
    message: String,
    hint: String,
    place: Value,
}

/// What a request leads to.
enum Reply {
    State,
    Value(Value),
    End,
}

/// Answers requests until the end of the input.
pub fn lead(mut session: Session, mut keeper: Keeper, screen: &Screen) -> Result<(), Failure> {
    let mut answers = Answers::of_stdin();
    send(screen, &state::document(&session, keeper.record(), None))?;
    for _ in 0..MOST_LINES {
        let Some(line) = answers.next()? else { break };
        if line.is_empty() {
            continue;
        }
        match request(&mut session, &mut keeper, &line) {
            Ok(Reply::State) => send(screen, &state::document(&session, keeper.record(), None))?,
            Ok(Reply::Value(value)) => send(screen, &value)?,
            Ok(Reply::End) => {
                let text = anstream::adapter::strip_str(&closing::page(&session, keeper.record(), WIDTH)).to_string();
                let mut document = state::document(&session, keeper.record(), None);
                document["type"] = json!("end");
                document["summary"] = json!(text);
                return send(screen, &document);
            }
            Err(refusals) => {
                let errors: Vec<Value> = refusals
                    .into_iter()
                    .map(
                        |one| json!({ "code": one.code, "message": one.message, "hint": one.hint, "where": one.place }),
                    )
                    .collect();
                send(screen, &json!({ "schema": "lampwise.call/1", "type": "error", "errors": errors }))?;
            }
        }
    }
    Ok(())
}

fn send(screen: &Screen, value: &Value) -> Result<(), Failure> {
    screen.print(&format!("{value}\n"))
}

fn request(session: &mut Session, keeper: &mut Keeper, line: &str) -> Result<Reply, Vec<Refusal>> {
    let request: Value = serde_json::from_str(line).map_err(|error| {
        vec![refusal("no-json", format!("this line is no JSON: {error}"), "send one object a line")]
    })?;
    let text = |key: &str| request.get(key).and_then(Value::as_str);
    let wanted = |key: &'static str| {
        text(key).ok_or_else(|| {
            vec![refusal("missing", format!("`{key}` is missing or no text"), "docs/json.md lists the requests")]
        })
    };
    let number = || -> Result<usize, Vec<Refusal>> {
        let number = request.get("number").and_then(Value::as_u64).and_then(|number| usize::try_from(number).ok());
        let at = number.and_then(|number| number.checked_sub(1)).filter(|at| *at < session.entries().len());
        at.ok_or_else(|| vec![refusal("no-such-entry", "`number` names no entry", "entries are numbered from 1")])
    };
    let question = |session: &Session, key: &str| {
        session.question_called(key).ok_or_else(|| {
            let hint = "answer one of the keys of `question` and `proposals` of the last state";
            vec![refusal("no-such-question", format!("`{}` is not asked now", short(key)), hint)]
        })
    };
    let done = match wanted("do")? {
        "say" => {
            let entry = entry(wanted("kind")?, wanted("text")?)?;
            session.add(vec![entry])
        }
        "answer" => {
            let question = question(session, wanted("key")?)?;
            session.add(understood(session, question, wanted("answer")?)?)
        }
        "unknown" | "cannot" => {
            let kind = if text("do") == Some("cannot") { Kind::Cannot } else { Kind::Unknown };
            let question = question(session, wanted("key")?)?;
            session.add(vec![session.leave_out(kind, question)])
        }
        "change" => {
            let at = number()?;
            let kind = text("kind").unwrap_or_else(|| session.entries()[at].kind.word());
            let entry = entry(kind, wanted("text")?)?;
            session.replace(at, entry)
        }
        "remove" => {
            let at = number()?;
            session.remove(at)
        }
        "undo" if session.undo() => Ok(()),
        "undo" => return Err(vec![refusal("nothing-to-undo", "there is nothing to take back", "")]),
        "why" => {
            let ruled_out = session.ruled_out();
            return Ok(Reply::Value(json!({
                "schema": "lampwise.call/1",
                "type": "why",
                "answer": session.now().answer,
                "ruled_out": ruled_out.into_iter().map(|one| json!({
                    "words": one.words, "before": one.before, "now": one.now, "entry": one.entry + 1,
                })).collect::<Vec<_>>(),
            })));
        }
        "state" => return Ok(Reply::State),
        "finish" => return Ok(Reply::End),
        other => {
            let hint = "say, answer, unknown, cannot, change, remove, undo, why, state or finish";
            return Err(vec![refusal("unknown-request", format!("`{}` can't be done", short(other)), hint)]);
        }
    };
    done.map_err(|mistakes| mistakes.into_iter().flat_map(of_entry).collect::<Vec<_>>())?;
    keeper.keep(session.entries()).map_err(|failure| {
        let hint = "the call goes on, but is not kept";
        vec![refusal("save", failure.first_message(), hint)]
    })?;
    Ok(Reply::State)
}

fn entry(kind: &str, text: &str) -> Result<Entry, Vec<Refusal>> {
    let Some(known) = Kind::called(kind) else {
        let all: Vec<&str> = Kind::ALL.iter().map(|kind| kind.word()).collect();
        let what = format!("`{}` is no kind of entry", short(kind));
        return Err(vec![refusal("unknown-kind", what, all.join(", "))]);
    };
    Ok(Entry::new(known, text))
}

fn understood(session: &Session, question: Question, said: &str) -> Result<Vec<Entry>, Vec<Refusal>> {
    match session.understand(question, said) {
        Understood::Entries(entries) => Ok(entries),
        Understood::AskMore(what) => Err(vec![refusal("say-more", what, "answer the same key in other words")]),
        Understood::Not { text, mistakes } => {
            Err(mistakes.into_iter().map(|mistake| of_reading(&text, mistake)).collect())
        }
    }
}

fn of_entry(mistake: EntryMistake) -> Vec<Refusal> {
    mistake.mistakes.into_iter().map(|one| of_reading(&mistake.text, one)).collect()
}

fn of_reading(text: &str, mistake: ReadingError) -> Refusal {
    Refusal {
        code: mistake.kind.code(),
        message: mistake.what,
        hint: mistake.hint,
        place: json!({ "text": text, "start": mistake.span.start, "end": mistake.span.end }),
    }
}

fn refusal(code: &'static str, message: impl Into<String>, hint: impl Into<String>) -> Refusal {
    Refusal { code, message: message.into(), hint: hint.into(), place: Value::Null }
}

fn short(text: &str) -> String {
    text.chars().take(60).collect()
}
