//! The records and the machines that are worked out, shared by all requests.

use std::collections::{BTreeMap, VecDeque};
use std::net::SocketAddr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use diagnose::call::{Origin, Session, WorkedOut};
use diagnose::next::Terms;
use diagnose::{NoShelf, Shelf};
use jiff::{SignedDuration, Timestamp};
use machine::{Alternative, Choice};
use records::figures::{Asked, Figures};
use records::rates::{Counts, Factors, Rates};
use records::{Call, CallId, MachineId, Store, TypeId, VersionId};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::attempts::Attempts;
use crate::calls::About;
use crate::kept::Kept;
use crate::lists::LookedOver;
use crate::mistake::Mistake;
use crate::pending::Pending;
use crate::reached::Reached;
use crate::rooms;
use crate::serving::{Limits, ServeError};
use crate::visitor;

/// Machines that are kept worked out; one takes up to some hundred megabytes.
const MACHINES: usize = 8;
/// Calls whose state is kept.
const CALLS: usize = 200;

/// Figures are made anew after so long, as they reach up to now.
const FIGURES_LAST: SignedDuration = SignedDuration::from_hours(1);

/// What was learned, and when.
pub(crate) struct Learned {
    pub rates: Rates,
    pub at: Timestamp,
}

/// Which figures: of how many days up to now, and for which stock.
#[derive(Clone, Copy, PartialEq)]
pub(crate) struct FiguresOf {
    pub days: i64,
    pub lead_days: f64,
    pub service_level: f64,
}

impl FiguresOf {
    /// The figures of a year, with the usual stock.
    pub fn usual() -> Self {
        let usual = Asked::of(Timestamp::UNIX_EPOCH, Timestamp::UNIX_EPOCH);
        Self { days: 365, lead_days: usual.lead_days, service_level: usual.service_level }
    }

    fn asked(self, until: Timestamp) -> Asked {
        let since = until.saturating_sub(SignedDuration::from_hours(24 * self.days)).unwrap_or(Timestamp::MIN);
        let Self { lead_days, service_level, .. } = self;
        Asked { lead_days, service_level, ..Asked::of(since, until) }
    }
}

/// Passwords that may wait to be hashed.
const MOST_WAITING: usize = 16;

/// The turn of hashing a password.
pub(crate) struct Hashing<'o> {
    waiting: &'o AtomicUsize,
    _turn: MutexGuard<'o, ()>,
}

impl Drop for Hashing<'_> {
    fn drop(&mut self) {
        self.waiting.fetch_sub(1, Ordering::AcqRel);
    }
}

/// A machine as calls are about it.
#[derive(Clone, PartialEq)]
struct Key {
    version: VersionId,
    choice: Choice,
    origin: Option<Origin>,
    /// Whether its rates are those that were learned.
    learned: bool,
}

/// What is known in a call at one counter, with or without the rates that were learned.
struct Known {
    call: CallId,
    counter: u64,
    learned: bool,
    session: Arc<Session>,
}

/// All that the pages are made of.
pub struct Office {
    store: Mutex<Store>,
    address: SocketAddr,
    reached: Reached,
    attempts: Mutex<Attempts>,
    /// Held while a password is hashed.
    hashing: Mutex<()>,
    /// Those who hash a password or wait for it.
    waiting: AtomicUsize,
    machines: Mutex<VecDeque<(Key, Arc<WorkedOut>)>>,
    calls: Mutex<VecDeque<Known>>,
    factors: Mutex<Option<Arc<Factors>>>,
    learned: Kept<(), Learned>,
    figures: Kept<FiguresOf, Figures>,
    looked_over: Mutex<LookedOver>,
    /// Versions whose machines take long, and those of which it is known that they do not.
    long: Mutex<BTreeMap<VersionId, bool>>,
    /// Held while it is worked out what to ask next, which takes all cores.
    asking: Mutex<()>,
    /// Where machines may be worked out already.
    shelf: Arc<dyn Shelf>,
    limits: Limits,
    /// Places for those whose answers are being made.
    places: Arc<Semaphore>,
    pending: Pending,
    clock: fn() -> Timestamp,
}

impl Office {
    /// An office with these records, that is reached at this address of the loopback interface, without signing in.
    /// At any other address everybody would have to, and nobody could.
    #[must_use]
    pub fn new(store: Store, address: SocketAddr) -> Self {
        Self::of(store, address, Reached::default())
    }

    /// An office with these records, that is reached like this.
    ///
    /// # Errors
    /// When everybody has to sign in and the records have no account.
    pub fn reached_by(store: Store, address: SocketAddr, reached: Reached) -> Result<Self, ServeError> {
        if reached.wants_accounts(address) && store.accounts().map_err(ServeError::Records)?.is_empty() {
            return Err(ServeError::NoAccounts(address));
        }
        Ok(Self::of(store, address, reached))
    }

    /// The same with another clock.
    #[must_use]
    pub fn with_clock(self, clock: fn() -> Timestamp) -> Self {
        Self { clock, ..self }
    }

    /// The same, where machines that are worked out are taken up from a shelf, and laid by there.
    #[must_use]
    pub fn with_shelf(self, shelf: Arc<dyn Shelf>) -> Self {
        Self { shelf, ..self }
    }

    /// The same with other limits.
    pub(crate) fn with_limits(self, limits: Limits) -> Self {
        Self { limits, places: Arc::new(Semaphore::new(limits.requests)), ..self }
    }

    /// A place for somebody whose answer is to be made; none if all are taken.
    pub(crate) fn place(&self) -> Option<OwnedSemaphorePermit> {
        Arc::clone(&self.places).try_acquire_owned().ok()
    }

    /// Answers that take long.
    pub(crate) fn pending(&self) -> &Pending {
        &self.pending
    }

    pub(crate) fn limits(&self) -> Limits {
        self.limits
    }

    pub(crate) fn shelf(&self) -> Arc<dyn Shelf> {
        Arc::clone(&self.shelf)
    }

    fn of(store: Store, address: SocketAddr, reached: Reached) -> Self {
        Self {
            store: Mutex::new(store),
            address,
            reached,
            attempts: Mutex::default(),
            hashing: Mutex::default(),
            waiting: AtomicUsize::new(0),
            machines: Mutex::default(),
            calls: Mutex::default(),
            factors: Mutex::default(),
            learned: Kept::default(),
            figures: Kept::default(),
            looked_over: Mutex::default(),
            long: Mutex::default(),
            asking: Mutex::default(),
            shelf: Arc::new(NoShelf),
            limits: Limits::default(),
            places: Arc::new(Semaphore::new(Limits::default().requests)),
            pending: Pending::default(),
            clock: Timestamp::now,
        }
    }

    /// Where it is reached.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Whether this is one of the names of this program, as a browser sends them.
    pub(crate) fn is_called(&self, host: &str) -> bool {
        self.reached.is_called(host, self.address)
    }

    /// Whether everybody has to sign in.
    pub(crate) fn wants_accounts(&self) -> bool {
        self.reached.wants_accounts(self.address)
    }

    pub(crate) fn reached(&self) -> &Reached {
        &self.reached
    }

    /// How often signing in was tried lately.
    pub(crate) fn attempts(&self) -> MutexGuard<'_, Attempts> {
        lock(&self.attempts)
    }

    /// The turn of hashing a password, which takes a core and 19 MiB of memory; none if too many wait for it.
    pub(crate) fn hashing(&self) -> Option<Hashing<'_>> {
        if self.waiting.fetch_add(1, Ordering::AcqRel) >= MOST_WAITING {
            self.waiting.fetch_sub(1, Ordering::AcqRel);
            return None;
        }
        Some(Hashing { waiting: &self.waiting, _turn: lock(&self.hashing) })
    }

    pub(crate) fn now(&self) -> Timestamp {
        (self.clock)()
    }

    pub(crate) fn store(&self) -> MutexGuard<'_, Store> {
        // A store rolls back what was not finished when somebody panicked.
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        // A name that can't be kept is that of no account.
        _ = store.set_author(&visitor::name());
        store
    }

    /// The machine of a version, with what the file leaves open.
    pub(crate) fn alternatives(&self, version: VersionId, choice: &Choice) -> Result<Vec<Alternative>, Mistake> {
        let text = self.store().version_text(version)?;
        let resolved = text.reading().resolve(choice);
        let error = resolved.problems.iter().find(|problem| problem.is_error());
        if let (Some(error), true) = (error, resolved.alternatives.is_empty()) {
            let hint = error.hint.clone().unwrap_or_else(|| "look at the machine file".to_owned());
            return Err(Mistake::wrong(format!("the machine file can't be used: {}", error.what), hint));
        }
        Ok(resolved.alternatives)
    }

    /// The machine, ready to be worked out. Two that ask for the same get the same.
    pub(crate) fn worked_out(
        &self,
        version: VersionId,
        choice: &Choice,
        origin: Option<&Origin>,
        learned: Option<TypeId>,
    ) -> Result<Arc<WorkedOut>, Mistake> {
        let key = Key { version, choice: choice.clone(), origin: origin.cloned(), learned: learned.is_some() };
        let find = |machines: &VecDeque<(Key, Arc<WorkedOut>)>| {
            machines.iter().find(|(known, _)| *known == key).map(|(_, machine)| Arc::clone(machine))
        };
        if let Some(known) = find(&lock(&self.machines)) {
            return Ok(known);
        }
        let mut alternatives = self.alternatives(version, choice)?;
        if let Some(machine_type) = learned {
            self.factors()?.apply(machine_type, &mut alternatives);
        }
        let made = WorkedOut::new(alternatives, origin).map(|made| Arc::new(made.with_shelf(self.shelf())));
        let made =
            made.ok_or_else(|| Mistake::wrong("the machine file has nothing to diagnose", "look at it first"))?;
        let mut machines = lock(&self.machines);
        if let Some(known) = find(&machines) {
            return Ok(known);
        }
        machines.push_back((key, Arc::clone(&made)));
        if machines.len() > MACHINES {
            machines.pop_front();
        }
        Ok(made)
    }

    /// What was learned from the findings when this was asked first. A call's answer does not change while it goes on.
    fn factors(&self) -> Result<Arc<Factors>, Mistake> {
        let known = || lock(&self.factors).as_ref().map(Arc::clone);
        if let Some(factors) = known() {
            return Ok(factors);
        }
        let _turn = self.learned.turn();
        if let Some(factors) = known() {
            return Ok(factors);
        }
        let (counts, _, _) = self.count()?;
        let factors = Arc::new(Factors::of(&counts));
        *lock(&self.factors) = Some(Arc::clone(&factors));
        Ok(factors)
    }

    /// All faults counted, how often what they come from was written, and when.
    fn count(&self) -> Result<(Counts, u64, Timestamp), Mistake> {
        let now = self.now();
        // Before it is counted: what is written meanwhile makes it old, not new.
        let written = self.store().written()?.learned;
        let counts = self.aside(|store| store.count_faults(now))?;
        Ok((counts, written, now))
    }

    /// What was learned: at once, if it was worked out before. If something was written meanwhile it is worked out
    /// anew beside that.
    pub(crate) fn learned(self: &Arc<Self>) -> Result<Arc<Learned>, Mistake> {
        let written = self.store().written()?.learned;
        let anew = || {
            self.beside(|office| {
                // What could not be worked out is tried again when it is looked at next.
                _ = office.learn();
                office.learned.end_anew(&());
            });
        };
        self.learned.shown(&(), written, |_| true, anew, || self.learn())
    }

    /// Does something while the page is shown.
    fn beside(self: &Arc<Self>, what: impl FnOnce(&Self) + Send + 'static) {
        let office = Arc::clone(self);
        std::thread::spawn(move || what(&office));
    }

    fn learn(&self) -> Result<Arc<Learned>, Mistake> {
        let (counts, written, at) = self.count()?;
        lock(&self.factors).get_or_insert_with(|| Arc::new(Factors::of(&counts)));
        Ok(self.learned.put((), written, Learned { rates: records::rates::learn(&counts), at }))
    }

    /// Figures, as quickly as what was learned.
    pub(crate) fn figures(self: &Arc<Self>, of: FiguresOf) -> Result<Arc<Figures>, Mistake> {
        let written = self.store().written()?.figures;
        let is_fresh = |figures: &Figures| self.now().duration_since(figures.until) < FIGURES_LAST;
        let anew = || {
            self.beside(move |office| {
                _ = office.figure(of);
                office.figures.end_anew(&of);
            });
        };
        self.figures.shown(&of, written, is_fresh, anew, || self.figure(of))
    }

    fn figure(&self, of: FiguresOf) -> Result<Arc<Figures>, Mistake> {
        let written = self.store().written()?.figures;
        let asked = of.asked(self.now());
        let figures = self.aside(|store| store.figures(&asked))?;
        Ok(self.figures.put(of, written, figures))
    }

    /// Works out what the first who ask would have to wait for.
    pub(crate) fn warm_up(self: &Arc<Self>) {
        // Whoever asks for it is told what is wrong.
        _ = self.learned();
        _ = self.figures(FiguresOf::usual());
    }

    /// Forgets what was learned, as findings or hours have come in; it is learned anew when it is asked for.
    pub(crate) fn forget_what_was_learned(&self) {
        *lock(&self.factors) = None;
        lock(&self.machines).retain(|(key, _)| !key.learned);
        lock(&self.calls).retain(|known| !known.learned);
    }

    /// Lists that were looked over and wait to be taken in.
    pub(crate) fn looked_over(&self) -> MutexGuard<'_, LookedOver> {
        lock(&self.looked_over)
    }

    /// Does something that takes long beside the others: over a way of its own into the file, where there is one.
    pub(crate) fn aside<T>(&self, work: impl FnOnce(&mut Store) -> records::Result<T>) -> Result<T, Mistake> {
        let own = self.store().once_more()?;
        match own {
            Some(mut store) => {
                store.set_author(&visitor::name())?;
                Ok(work(&mut store)?)
            }
            None => Ok(work(&mut self.store())?),
        }
    }

    /// The turn of working out what to ask next.
    pub(crate) fn turn(&self) -> MutexGuard<'_, ()> {
        lock(&self.asking)
    }

    /// Whether the machine that a request is about takes long; what is not there does not.
    pub(crate) fn takes_long(&self, about: &About) -> bool {
        let version = {
            let store = self.store();
            let current = |id: TypeId| store.machine_type(id).map(|one| one.current);
            match about {
                About::Call(id) => store.call(CallId(*id)).map(|call| call.row.version),
                About::Machine(id) => store.machine(MachineId(*id)).and_then(|one| current(one.machine_type)),
                About::Type(id) => current(TypeId(*id)),
                About::TypeNamed(name) => match store.machine_type_named(name) {
                    Ok(Some(one)) => Ok(one.current),
                    Ok(None) => return false,
                    Err(error) => Err(error),
                },
            }
        };
        let Ok(version) = version else { return false };
        if let Some(known) = lock(&self.long).get(&version) {
            return *known;
        }
        let takes_long = self.alternatives(version, &Choice::default()).is_ok_and(|all| rooms::takes_long(&all));
        lock(&self.long).insert(version, takes_long);
        takes_long
    }

    /// What is known in a call. `learned` says whether with the rates learned from findings.
    pub(crate) fn session(&self, call: &Call, learned: bool) -> Result<Arc<Session>, Mistake> {
        let (id, counter) = (call.row.id, call.row.counter);
        let is_so = |known: &&Known| (known.call, known.counter, known.learned) == (id, counter, learned);
        if let Some(known) = lock(&self.calls).iter().find(is_so) {
            return Ok(Arc::clone(&known.session));
        }
        let machine_type = Some(call.row.machine_type).filter(|_| learned);
        let machine = self.worked_out(call.row.version, &call.choice, call.origin.as_ref(), machine_type)?;
        let session = Arc::new(readable(&machine, call)?);
        let mut calls = lock(&self.calls);
        calls.retain(|known| known.call != id || (known.counter == counter && known.learned != learned));
        calls.push_back(Known { call: id, counter, learned, session: Arc::clone(&session) });
        if calls.len() > CALLS {
            calls.pop_front();
        }
        Ok(session)
    }

    /// Keeps the state of a call that has just been changed, so that the page that follows has it.
    pub(crate) fn keep(&self, call: CallId, counter: u64, learned: bool, session: Session) {
        let mut calls = lock(&self.calls);
        calls.retain(|known| known.call != call);
        calls.push_back(Known { call, counter, learned, session: Arc::new(session) });
    }
}

/// A session of what can be read of a call: entries can come from an import, or from before the program learned better.
fn readable(machine: &Arc<WorkedOut>, call: &Call) -> Result<Session, Mistake> {
    let mut entries = call.entries.clone();
    loop {
        let mistakes = match Session::of(Arc::clone(machine), terms(machine, call), entries.clone()) {
            Ok(session) => return Ok(session),
            Err(mistakes) => mistakes,
        };
        let before = entries.len();
        let mut at = 0;
        entries.retain(|_| {
            at += 1;
            mistakes.iter().all(|one| one.entry != at - 1)
        });
        if entries.len() == before {
            return Err(Mistake::wrong(
                "what was said in this call can't be read",
                "look at it with `lampwise records call`",
            ));
        }
    }
}

/// Who is there, and what things cost, as the call says it.
pub(crate) fn terms(machine: &WorkedOut, call: &Call) -> Terms {
    Terms::of(machine.names()).visited_after(call.visit)
}

fn lock<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    // Lists of things that are whole at any moment, also if somebody panicked while holding them.
    what.lock().unwrap_or_else(PoisonError::into_inner)
}
