//! The addresses of the pages, and the server behind them.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{MethodRouter, any, get, post};
use axum::serve::Listener;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use records::accounts::Role;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio_rustls::rustls::ServerConfig;
use tower::ServiceExt as _;

use crate::encrypted::{self, Encrypted};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::reached::Reached;
use crate::{
    accounts, calls, figures, front, guard, lists, look, machine_types, machines, practice, procedures, search, sign_in,
};

/// Bytes that a form may have.
const LARGEST_FORM: usize = 100_000;
/// Bytes that a machine file may have in a form, where each byte can take three.
const LARGEST_FILE_FORM: usize = 3 * machine::LARGEST_FILE + 10_000;
/// Bytes that a form with a list may have.
const LARGEST_LIST_FORM: usize = lists::LARGEST + 10_000;

/// So long what was begun may take once the program is told to stop.
const PATIENCE: Duration = Duration::from_secs(2);

/// How much patience the server has with whoever is slow, and with how many at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// So long a browser may take to say what it wants, also between two requests.
    pub head: Duration,
    /// So long a form may take to arrive.
    pub body: Duration,
    /// Connections at once; more wait to be taken.
    pub connections: usize,
    /// Requests that are worked on at once; more are sent away.
    pub requests: usize,
    /// So long an answer may take to be made until a page says that it takes long.
    pub answer: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        let seconds = Duration::from_secs;
        Self { head: seconds(20), body: seconds(60), connections: 1_000, requests: 250, answer: seconds(8) }
    }
}

/// What somebody needs to be allowed something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Nothing: signing in itself, and what dresses that page.
    Nothing,
    /// This role, where people have to sign in.
    Role(Role),
}

const ANYBODY: Needs = Needs::Nothing;
const READER: Needs = Needs::Role(Role::Reader);
const DESK: Needs = Needs::Role(Role::Desk);
const EDITOR: Needs = Needs::Role(Role::Editor);

/// One address: who may look, who may change something there, and how large a form may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Address {
    /// The address, with names in braces for what differs.
    pub path: &'static str,
    /// What is needed to look.
    pub look: Needs,
    /// What is needed to change something; nothing can be changed at most addresses, whatever one may.
    pub change: Needs,
    /// Bytes that what is sent there may have.
    pub largest: usize,
}

/// What holds for an address that nobody thought of.
impl Default for Address {
    fn default() -> Self {
        Self { path: "", look: READER, change: EDITOR, largest: LARGEST_FORM }
    }
}

const fn at(path: &'static str, look: Needs, change: Needs) -> Address {
    Address { path, look, change, largest: LARGEST_FORM }
}

/// All addresses. This is the only place that says who may do what; what is not here does not exist.
pub const ADDRESSES: &[Address] = &[
    at("/look.css", ANYBODY, EDITOR),
    at("/lamps.js", ANYBODY, EDITOR),
    at("/lamp.svg", ANYBODY, EDITOR),
    at("/sign-in", ANYBODY, ANYBODY),
    at("/sign-out", READER, READER),
    at("/password", READER, READER),
    at("/accounts", EDITOR, EDITOR),
    at("/", READER, EDITOR),
    at("/search", READER, EDITOR),
    at("/calls", READER, DESK),
    at("/calls/{call}", READER, EDITOR),
    at("/calls/{call}/next", READER, EDITOR),
    at("/calls/{call}/lamps", READER, DESK),
    at("/calls/{call}/positions", READER, DESK),
    at("/calls/{call}/say", READER, DESK),
    at("/calls/{call}/answer", READER, DESK),
    at("/calls/{call}/change", READER, DESK),
    at("/calls/{call}/end", READER, DESK),
    at("/calls/{call}/report", READER, EDITOR),
    at("/machines", READER, EDITOR),
    at("/machines/{machine}", READER, EDITOR),
    at("/machines/{machine}/notes", READER, DESK),
    at("/machines/{machine}/procedures/{name}", READER, DESK),
    at("/types", READER, EDITOR),
    at("/types/{type}", READER, EDITOR),
    at("/types/{type}/devices", READER, EDITOR),
    at("/types/{type}/review", READER, EDITOR),
    at("/types/{type}/sheets/{sheet}", READER, EDITOR),
    Address { largest: LARGEST_FILE_FORM, ..at("/types/{type}/file", READER, EDITOR) },
    at("/figures", READER, EDITOR),
    at("/practice", READER, EDITOR),
    Address { largest: LARGEST_LIST_FORM, ..at("/lists", READER, EDITOR) },
    at("/lists/take", READER, EDITOR),
    at("/lists/{what}", READER, EDITOR),
    at("/practice/{type}/{level}/{number}", READER, DESK),
];

/// What an address needs, if there is one.
pub(crate) fn needed(path: &str) -> Option<Address> {
    ADDRESSES.iter().find(|one| one.path == path).copied()
}

/// What answers at an address.
fn answering(path: &str) -> MethodRouter<Arc<Office>> {
    match path {
        "/look.css" => get(look::css),
        "/lamps.js" => get(look::script),
        "/lamp.svg" => get(look::lamp),
        "/sign-in" => get(sign_in::page).post(sign_in::sign_in),
        "/sign-out" => post(sign_in::sign_out),
        "/password" => get(sign_in::password_page).post(sign_in::change_password),
        "/accounts" => get(accounts::list),
        "/" => get(front::page),
        "/search" => get(search::page),
        "/calls" => get(calls::list).post(calls::begin),
        "/calls/{call}" => get(calls::page),
        "/calls/{call}/next" => get(calls::next),
        "/calls/{call}/lamps" => post(calls::lamps),
        "/calls/{call}/positions" => post(calls::positions),
        "/calls/{call}/say" => post(calls::say),
        "/calls/{call}/answer" => post(calls::answer),
        "/calls/{call}/change" => post(calls::change),
        "/calls/{call}/end" => post(calls::end),
        "/calls/{call}/report" => get(calls::report),
        "/machines" => get(machines::list).post(machines::add),
        "/machines/{machine}" => get(machines::page).post(machines::change),
        "/machines/{machine}/notes" => post(machines::change_notes),
        "/machines/{machine}/procedures/{name}" => get(procedures::page).post(procedures::go_on),
        "/types" => get(machine_types::list),
        "/types/{type}" => get(machine_types::page),
        "/types/{type}/devices" => get(machine_types::devices),
        "/types/{type}/review" => get(machine_types::review),
        "/types/{type}/sheets/{sheet}" => get(machine_types::sheet),
        "/types/{type}/file" => get(machine_types::file).post(machine_types::save),
        "/figures" => get(figures::page),
        "/practice" => get(practice::choose),
        "/lists" => get(lists::page).post(lists::look_over),
        "/lists/take" => post(lists::take),
        "/lists/{what}" => get(lists::out),
        "/practice/{type}/{level}/{number}" => get(practice::page).post(practice::take),
        _ => any(no_such_page),
    }
}

async fn no_such_page() -> Mistake {
    Mistake::not_there("there is no such page")
}

/// All pages.
pub fn router(office: Arc<Office>) -> Router {
    let mut pages = Router::new();
    for address in ADDRESSES {
        let answering = answering(address.path).layer(DefaultBodyLimit::max(address.largest));
        pages = pages.route(address.path, answering);
    }
    pages.fallback(no_such_page).layer(from_fn_with_state(Arc::clone(&office), guard::guard)).with_state(office)
}

/// Why nothing is served.
#[derive(Debug)]
pub enum ServeError {
    /// Everybody has to sign in, and there is no account.
    NoAccounts(SocketAddr),
    /// Passwords would go over the network in the clear.
    InTheClear(SocketAddr),
    /// Nothing says by which names the program is called.
    NoName(SocketAddr),
    /// Certificate or key can't be used.
    Certificate(String),
    /// The accounts can't be read.
    Records(records::Error),
    /// The address can't be used.
    Address(SocketAddr, std::io::Error),
    /// The server can't begin.
    Failed(std::io::Error),
}

impl std::fmt::Display for ServeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoAccounts(address) => {
                write!(
                    f,
                    "{address} can be reached from other computers, and there is no account to keep strangers out"
                )
            }
            Self::InTheClear(address) => {
                write!(f, "{address} can be reached from other computers, and passwords would go there in the clear")
            }
            Self::NoName(address) => write!(f, "nothing says by which name {address} is called from elsewhere"),
            Self::Certificate(why) => write!(f, "the certificate can't be used: {why}"),
            Self::Records(error) => write!(f, "the accounts can't be read: {error}"),
            Self::Address(address, error) => write!(f, "can't listen at {address}: {error}"),
            Self::Failed(error) => write!(f, "the server can't begin: {error}"),
        }
    }
}

impl std::error::Error for ServeError {}

/// The other side of a connection.
#[derive(Clone, Copy)]
pub(crate) struct Peer(pub SocketAddr);

/// A server that is listening and has not answered yet.
pub struct Serving {
    listener: std::net::TcpListener,
    address: SocketAddr,
    reached: Reached,
    encryption: Option<Arc<ServerConfig>>,
    limits: Limits,
}

impl Serving {
    /// Listens at an address of this computer; port 0 takes any that is free.
    ///
    /// # Errors
    /// When other computers would reach it in the clear or by a name that is not known, when the certificate can't be
    /// used, or the address is taken.
    pub fn at(address: SocketAddr, reached: Reached) -> Result<Self, ServeError> {
        if !address.ip().is_loopback() && !reached.is_encrypted() {
            return Err(ServeError::InTheClear(address));
        }
        let any_of_them = address.ip().is_unspecified();
        if reached.names.is_empty() && (any_of_them || reached.behind_proxy) {
            return Err(ServeError::NoName(address));
        }
        let encryption = match &reached.certificate {
            None => None,
            Some((certificate, key)) => Some(encrypted::settings(certificate, key).map_err(ServeError::Certificate)?),
        };
        let listen = || {
            let listener = std::net::TcpListener::bind(address)?;
            listener.set_nonblocking(true)?;
            let address = listener.local_addr()?;
            Ok((listener, address))
        };
        let (listener, address) = listen().map_err(|error| ServeError::Address(address, error))?;
        Ok(Self { listener, address, reached, encryption, limits: Limits::default() })
    }

    /// The same with other limits.
    #[must_use]
    pub fn with_limits(self, limits: Limits) -> Self {
        Self { limits, ..self }
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// The office whose pages are to be served here.
    ///
    /// # Errors
    /// When everybody has to sign in and the records have no account.
    pub fn office(&self, store: records::Store) -> Result<Office, ServeError> {
        Ok(Office::reached_by(store, self.address, self.reached.clone())?.with_limits(self.limits))
    }
}

/// Answers until the program is told to stop; what was begun is finished.
///
/// # Errors
/// When the server fails.
pub fn serve(serving: Serving, office: Office) -> Result<(), ServeError> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(ServeError::Failed)?;
    let ended = runtime.block_on(async move {
        let listener = TcpListener::from_std(serving.listener).map_err(ServeError::Failed)?;
        let office = Arc::new(office);
        let pages = router(Arc::clone(&office));
        // The first who ask need not wait for what takes longest.
        std::thread::spawn(move || office.warm_up());
        match serving.encryption {
            None => answer(listener, pages, serving.limits).await,
            Some(settings) => answer(Encrypted::on(listener, serving.address, settings), pages, serving.limits).await,
        }
    });
    // What is being worked out for a page that nobody waits for any more is left; all that was said is on the disk.
    runtime.shutdown_background();
    ended
}

/// Takes connections and answers on them until the program is told to stop.
async fn answer<L>(mut listener: L, pages: Router, limits: Limits) -> Result<(), ServeError>
where
    L: Listener<Addr = SocketAddr>,
{
    let stop = async {
        // Where the signal can't be had, the program is ended from outside; all that was said is on the disk.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    tokio::pin!(stop);
    let mut settings = http1::Builder::new();
    settings.timer(TokioTimer::new()).header_read_timeout(limits.head);
    let open = GracefulShutdown::new();
    let places = Arc::new(Semaphore::new(limits.connections));
    loop {
        let arrived = async {
            let place = Arc::clone(&places).acquire_owned().await;
            (listener.accept().await, place)
        };
        let ((stream, from), place) = tokio::select! {
            arrived = arrived => arrived,
            () = &mut stop => break,
        };
        let pages = pages.clone();
        let answering = service_fn(move |mut request: hyper::Request<Incoming>| {
            request.extensions_mut().insert(Peer(from));
            pages.clone().oneshot(request)
        });
        let connection = open.watch(settings.serve_connection(TokioIo::new(stream), answering));
        tokio::spawn(async move {
            // What goes wrong with a connection is the other side's to notice.
            _ = connection.await;
            drop(place);
        });
    }
    // What is still worked out then is left.
    _ = tokio::time::timeout(PATIENCE, open.shutdown()).await;
    Ok(())
}
