//! Things written out, page by page, so that there may be any number of them.

use super::fields::guarded;
use super::rows::NO_PRICE;
use super::{Format, Things};
use crate::calls::Call;
use crate::error::{Error, ErrorKind, Result};
use crate::findings::Finding;
use crate::id::{CallId, ExposureId, MachineId, RunId, VersionId};
use crate::machines::{self, Exposure, Machine};
use crate::procedures::ProcedureRun;
use crate::store::Store;
use csv::{Terminator, WriterBuilder};
use jiff::Timestamp;
use rusqlite::params;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write;

/// Things that are read at a time.
const AT_A_TIME: i64 = 500;

pub(super) fn export(store: &Store, things: Things, format: Format, out: &mut dyn Write) -> Result<u64> {
    let table = match things {
        Things::Machines => "machine",
        Things::Calls => "call",
        Things::Findings => "finding",
        Things::Hours => "exposure",
        Things::Procedures => "procedure_run",
    };
    let number = if things == Things::Findings { "call" } else { "id" };
    let sql = format!("SELECT {number} FROM {table} WHERE {number} > ?1 ORDER BY {number} LIMIT {AT_A_TIME}");
    let mut fingerprints = BTreeMap::new();
    let mut sink = Sink::new(things, format, out)?;
    let (mut last, mut count) = (0_i64, 0);
    loop {
        let mut statement = store.connection.prepare_cached(&sql)?;
        let ids: Vec<i64> = statement.query_map(params![last], |row| row.get(0))?.collect::<rusqlite::Result<_>>()?;
        let Some(end) = ids.last().copied() else { break };
        for id in ids {
            let row = match things {
                Things::Machines => machine(&store.machine(MachineId(id))?),
                Things::Calls => {
                    let call = store.call(CallId(id))?;
                    let fingerprint = fingerprint(store, call.row.version, &mut fingerprints)?;
                    self::call(&call, &fingerprint)
                }
                Things::Findings => {
                    let call = store.call(CallId(id))?;
                    let found = call.finding.clone().unwrap_or_default();
                    finding(&call, &found)
                }
                Things::Hours => {
                    let one = machines::exposure(&store.connection, ExposureId(id))?;
                    hours(&store.machine(one.machine)?, &one)
                }
                Things::Procedures => {
                    let run = store.procedure_run(RunId(id))?;
                    let fingerprint = fingerprint(store, run.version, &mut fingerprints)?;
                    let began = run.call.map(|call| store.call(call)).transpose()?.map(|call| call.row.began);
                    procedure(&store.machine(run.machine)?, &run, &fingerprint, began)
                }
            };
            sink.put(&row)?;
            count += 1;
        }
        last = end;
    }
    sink.end()?;
    Ok(count)
}

fn fingerprint(store: &Store, version: VersionId, known: &mut BTreeMap<VersionId, String>) -> Result<String> {
    if let Some(known) = known.get(&version) {
        return Ok(known.clone());
    }
    let fingerprint = store.version(version)?.fingerprint;
    known.insert(version, fingerprint.clone());
    Ok(fingerprint)
}

fn settings(settings: &[(String, String)]) -> Vec<String> {
    settings.iter().map(|(name, value)| format!("{name}={value}")).collect()
}

fn machine(machine: &Machine) -> Value {
    json!({
        "machine_type": machine.type_name,
        "serial": machine.serial,
        "number": machine.number,
        "site": machine.site_name,
        "revision": machine.revision,
        "settings": settings(&machine.settings),
        "contact": machine.contact,
        "notes": machine.notes,
        "running_hours": machine.running_hours,
    })
}

fn call(call: &Call, fingerprint: &str) -> Value {
    let entries: Vec<String> = call.entries.iter().map(ToString::to_string).collect();
    json!({
        "machine_type": call.row.type_name,
        "serial": call.row.serial,
        "began": call.row.began.to_string(),
        "closed": call.row.closed.map(|time| time.to_string()),
        "fingerprint": fingerprint,
        "number": call.choice.serial,
        "revision": call.choice.revision,
        "settings": settings(&call.choice.settings),
        "visit": call.visit,
        "entries": entries,
    })
}

fn finding(call: &Call, finding: &Finding) -> Value {
    let parts = finding.parts.iter().map(|part| {
        let price = part.price.map_or_else(|| NO_PRICE.to_owned(), |price| price.to_string());
        format!("{} x {} @ {price}", part.count, part.part)
    });
    let stated = finding.stated.iter().map(|stated| format!("{} {}", stated.probability, stated.key));
    json!({
        "machine_type": call.row.type_name,
        "serial": call.row.serial,
        "began": call.row.began.to_string(),
        "words": finding.words,
        "deviations": finding.deviations,
        "remedies": finding.remedies,
        "sure": finding.sure,
        "confirmed_by": finding.confirmed_by,
        "not_in_file": finding.not_in_file,
        "solved": finding.solved.word(),
        "minutes": finding.minutes,
        "visits": finding.visits,
        "parts": parts.collect::<Vec<_>>(),
        "stated": stated.collect::<Vec<_>>(),
    })
}

fn hours(machine: &Machine, one: &Exposure) -> Value {
    json!({
        "machine_type": machine.type_name,
        "serial": machine.serial,
        "since": one.since.to_string(),
        "until": one.until.to_string(),
        "amount": one.amount,
        "unit": one.unit.word(),
    })
}

fn procedure(machine: &Machine, run: &ProcedureRun, fingerprint: &str, began: Option<Timestamp>) -> Value {
    let values = run.values.iter().map(|one| {
        let unit = if one.unit.is_empty() { String::new() } else { format!(" {}", one.unit) };
        let limit = |limit: Option<f64>| limit.map(|limit| limit.to_string()).unwrap_or_default();
        // A unit that ends like limits must not be taken for them.
        let limits = if one.lowest.is_some() || one.highest.is_some() || one.unit.ends_with(']') {
            format!(" [{} to {}]", limit(one.lowest), limit(one.highest))
        } else {
            String::new()
        };
        format!("{} = {}{unit}{limits}", one.what, one.value)
    });
    json!({
        "machine_type": machine.type_name,
        "serial": machine.serial,
        "at": run.at.to_string(),
        "name": run.name,
        "fingerprint": fingerprint,
        "call_began": began.map(|began| began.to_string()),
        "done_by": run.done_by,
        "completed": run.completed,
        "note": run.note,
        "values": values.collect::<Vec<_>>(),
    })
}

/// Where rows go.
enum Sink<'o> {
    Csv(Box<csv::Writer<&'o mut dyn Write>>, Things),
    JsonLines(&'o mut dyn Write, Things),
}

impl<'o> Sink<'o> {
    fn new(things: Things, format: Format, out: &'o mut dyn Write) -> Result<Self> {
        match format {
            Format::JsonLines => Ok(Self::JsonLines(out, things)),
            Format::Csv => {
                // RFC 4180 ends lines so.
                let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(out);
                writer.write_record(things.fields().iter().map(|(name, _)| *name)).map_err(output)?;
                Ok(Self::Csv(Box::new(writer), things))
            }
        }
    }

    fn put(&mut self, row: &Value) -> Result<()> {
        match self {
            Self::Csv(writer, things) => {
                let cells = things.fields().iter().map(|(name, _)| guarded(&cell(&row[*name])));
                writer.write_record(cells).map_err(output)
            }
            Self::JsonLines(out, things) => {
                // In the order of the fields, without what is empty. Whether a map keeps an order is up to others.
                let fields = things.fields().iter().filter(|(name, _)| !is_empty(&row[*name]));
                let fields: Vec<String> = fields.map(|(name, _)| format!("\"{name}\":{}", row[*name])).collect();
                writeln!(out, "{{{}}}", fields.join(",")).map_err(output)
            }
        }
    }

    fn end(self) -> Result<()> {
        match self {
            Self::Csv(mut writer, _) => writer.flush().map_err(output),
            Self::JsonLines(out, _) => out.flush().map_err(output),
        }
    }
}

fn is_empty(value: &Value) -> bool {
    match value {
        Value::Null => true,
        Value::String(text) => text.is_empty(),
        Value::Array(list) => list.is_empty(),
        _ => false,
    }
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(list) => list.iter().map(cell).collect::<Vec<_>>().join("\n"),
        other => other.to_string(),
    }
}

fn output(error: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    let error = error.into();
    let cause = error.to_string();
    Error::new(ErrorKind::Unreadable, "the output", cause, "look whether there is room, and whether it may be written")
        .because(error)
}
