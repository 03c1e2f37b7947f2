//! Figures for the service manager: what breaks, how long it takes, what to keep in stock, which machines stand out,
//! and how well stated probabilities held. Worked out anew from the records each time; docs/records.md says how.

mod causes;
mod kin;
mod reliability;
mod repair;
mod stated;
mod stock;

pub use causes::Cause;
pub use kin::{Compared, MoreCalls, more_than_kin};
pub use reliability::{Reliability, between_failures};
pub use repair::{Month, Repair};
pub use stated::{Held, Tenth};
pub use stock::{PartStock, stock_for};

use crate::error::{Error, Result};
use crate::filter::Filter;
use crate::findings::Solved;
use crate::id::{CallId, MachineId, SiteId, TypeId, VersionId};
use crate::rates::Files;
use crate::statistics::share_interval;
use crate::store::Store;
use crate::text;
use jiff::Timestamp;
use machine::Choice;
use rusqlite::params_from_iter;
use rusqlite::types::Value;
use serde::Serialize;
use std::collections::BTreeMap;

/// What to work out.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Calls that began at this time or later.
    pub since: Timestamp,
    /// Calls that began before this time.
    pub until: Timestamp,
    /// Only on this machine type.
    pub machine_type: Option<TypeId>,
    /// Only at this site.
    pub site: Option<SiteId>,
    /// Days until an ordered part is there.
    pub lead_days: f64,
    /// How probable it is to be that the stock lasts so long, such as 0.95.
    pub service_level: f64,
}

impl Asked {
    /// All calls of a span of time, parts within two weeks at 95 %.
    #[must_use]
    pub fn of(since: Timestamp, until: Timestamp) -> Self {
        Self { since, until, machine_type: None, site: None, lead_days: 14.0, service_level: 0.95 }
    }
}

/// A share with its 90 % interval, by Clopper and Pearson (1934).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// So many …
    pub count: u64,
    /// … of so many.
    pub of: u64,
    /// The share; none of none.
    pub share: Option<f64>,
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Share {
    /// So many of so many.
    #[must_use]
    pub fn new(count: u64, of: u64) -> Self {
        let (low, high) = share_interval(count, of);
        Self { count, of, share: (of > 0).then(|| count as f64 / of as f64), low, high }
    }

    fn among<'c>(calls: impl Iterator<Item = &'c Told>, is: impl Fn(&Told) -> bool) -> Self {
        let (mut count, mut of) = (0, 0);
        for call in calls {
            of += 1;
            count += u64::from(is(call));
        }
        Self::new(count, of)
    }
}

/// All figures.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// From when.
    pub since: Timestamp,
    /// Until when.
    pub until: Timestamp,
    /// Calls that began.
    pub calls: u64,
    /// Those with a finding; all that follows is about these, unless it says otherwise.
    pub with_finding: u64,
    /// What it was, the most frequent first.
    pub causes: Vec<Cause>,
    /// How long it took.
    pub repair: Repair,
    /// Of those put right by a visit: by the first.
    pub first_visit: Share,
    /// Put right on the phone.
    pub by_phone: Share,
    /// Of the calls that were closed thirty days before the end or earlier: another call on the same machine came
    /// within thirty days.
    pub again: Share,
    /// Calls by month.
    pub months: Vec<Month>,
    /// Parts used, with what to keep in stock.
    pub parts: Vec<PartStock>,
    /// Machines compared with their kin, those first that stand out most.
    pub machines: Vec<Compared>,
    /// Hours between failures by machine type.
    pub reliability: Vec<Reliability>,
    /// How well stated probabilities held.
    pub stated: Held,
}

/// A call as the figures need it.
#[derive(Clone, Debug)]
pub(crate) struct Told {
    pub call: CallId,
    pub machine: Option<MachineId>,
    pub machine_type: TypeId,
    pub version: VersionId,
    pub choice: Choice,
    pub began: Timestamp,
    pub closed: Option<Timestamp>,
    pub found: Option<Found>,
}

/// A finding as the figures need it.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    pub sure: f64,
    pub not_in_file: bool,
    pub solved: Solved,
    pub minutes: Option<f64>,
    pub visits: u32,
    pub deviations: Vec<String>,
}

impl Store {
    /// Works the figures out.
    ///
    /// # Errors
    /// When the span of time or the service level is none, or the file can't be read.
    pub fn figures(&self, asked: &Asked) -> Result<Figures> {
        if asked.until <= asked.since {
            return Err(Error::refused("the span of time", "it ends before it begins", "change the two times"));
        }
        if !(asked.service_level > 0.0 && asked.service_level < 1.0) {
            let hint = "give a number between 0 and 1, such as 0.95";
            return Err(Error::refused("the service level", "it is no probability", hint));
        }
        text::amount("the days until a part is there", asked.lead_days)?;
        let calls = self.told(asked)?;
        let hours = self.hours_between(asked)?;
        let mut files = Files::default();
        let found = || calls.iter().filter(|call| call.found.is_some());
        let solved = |call: &Told| call.found.as_ref().map(|found| found.solved);
        let visited = || found().filter(|call| solved(call) == Some(Solved::Visit));
        let first = |call: &Told| call.found.as_ref().is_some_and(|found| found.visits <= 1);
        Ok(Figures {
            since: asked.since,
            until: asked.until,
            calls: calls.len() as u64,
            with_finding: found().count() as u64,
            causes: causes::causes(self, &calls, &mut files)?,
            repair: repair::repair(&calls),
            first_visit: Share::among(visited(), first),
            by_phone: Share::among(found(), |call| solved(call) == Some(Solved::Phone)),
            again: repair::again(&calls, asked.until),
            months: repair::months(&calls),
            parts: stock::parts(self, &calls, asked)?,
            machines: kin::machines(self, &calls, &hours)?,
            reliability: reliability::reliability(self, &calls, &hours, &mut files)?,
            stated: stated::held(self, &calls, asked)?,
        })
    }

    /// The calls that are asked for, the earliest first.
    fn told(&self, asked: &Asked) -> Result<Vec<Told>> {
        let mut list = Filter::default();
        list.and(
            "c.began >= ? AND c.began < ?",
            [asked.since, asked.until].map(|time| Value::from(text::to_database(time))),
        );
        list.equal("c.machine_type", asked.machine_type);
        list.equal("c.site", asked.site);
        let sql = format!(
            "SELECT c.id, c.machine, c.machine_type, c.version, c.number, c.revision, c.began, c.closed, f.sure,
             f.not_in_file, f.solved, f.minutes, f.visits FROM call c LEFT JOIN finding f ON f.call = c.id
             WHERE {} ORDER BY c.began, c.id",
            list.conditions()
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rows = statement.query_map(params_from_iter(list.values.iter()), |row| {
            let closed: Option<i64> = row.get(7)?;
            let sure: Option<f64> = row.get(8)?;
            let found = match sure {
                None => None,
                Some(sure) => Some(Found {
                    sure,
                    not_in_file: row.get(9)?,
                    solved: Solved::called(&row.get::<_, String>(10)?).unwrap_or_default(),
                    minutes: row.get(11)?,
                    visits: row.get(12)?,
                    deviations: Vec::new(),
                }),
            };
            Ok(Told {
                call: row.get(0)?,
                machine: row.get(1)?,
                machine_type: row.get(2)?,
                version: row.get(3)?,
                choice: Choice { revision: row.get(5)?, serial: row.get(4)?, settings: Vec::new() },
                began: text::of_database(row.get(6)?),
                closed: closed.map(text::of_database),
                found,
            })
        })?;
        let mut calls: Vec<Told> = rows.collect::<rusqlite::Result<_>>()?;
        let places: BTreeMap<CallId, usize> = calls.iter().enumerate().map(|(at, call)| (call.call, at)).collect();
        // CROSS JOIN says to SQLite where to begin: with the calls of the span, not with all deviations there are.
        let sql = format!(
            "SELECT d.call, d.key FROM call c CROSS JOIN finding_deviation d ON d.call = c.id WHERE {}
             ORDER BY c.began, c.id, d.position",
            list.conditions()
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(list.values))?;
        while let Some(row) = rows.next()? {
            let call: CallId = row.get(0)?;
            let found = places.get(&call).and_then(|at| calls[*at].found.as_mut());
            if let Some(found) = found {
                found.deviations.push(row.get(1)?);
            }
        }
        Ok(calls)
    }

    /// Running hours of each machine in the span of time; of a record that reaches beyond it, the part within.
    fn hours_between(&self, asked: &Asked) -> Result<BTreeMap<MachineId, f64>> {
        let mut list = Filter::default();
        list.equal("m.machine_type", asked.machine_type);
        list.equal("m.site", asked.site);
        let (since, until) = (text::to_database(asked.since), text::to_database(asked.until));
        list.and("e.until >= ? AND e.since <= ?", [since, until].map(Value::from));
        let sql = format!(
            "SELECT e.machine, e.since, e.until, e.amount FROM exposure e JOIN machine m ON m.id = e.machine
             WHERE e.unit = 'hours' AND {} ORDER BY e.machine, e.since",
            list.conditions()
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(list.values))?;
        let mut hours = BTreeMap::new();
        while let Some(row) = rows.next()? {
            let (from, to, amount): (i64, i64, f64) = (row.get(1)?, row.get(2)?, row.get(3)?);
            let within = to.min(until).saturating_sub(from.max(since));
            // A record of one moment counts whole if the moment is within.
            let share = if to > from { within as f64 / (to - from) as f64 } else { 1.0 };
            if within > 0 || (to == from && within == 0) {
                *hours.entry(row.get(0)?).or_insert(0.0) += amount * share;
            }
        }
        Ok(hours)
    }
}
