//! The addresses of the pages, and the server behind them.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use tokio::net::TcpListener;

use crate::mistake::Mistake;
use crate::office::Office;
use crate::{calls, figures, front, guard, look, machine_types, machines, practice, procedures, search};

/// Bytes that a form may have.
const LARGEST_FORM: usize = 100_000;
/// Bytes that a machine file may have in a form, where each byte can take three.
const LARGEST_FILE_FORM: usize = 3 * machine::LARGEST_FILE + 10_000;

/// So long what was begun may take once the program is told to stop.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(2);

/// All pages.
pub fn router(office: Arc<Office>) -> Router {
    Router::new()
        .route("/", get(front::page))
        .route("/look.css", get(look::css))
        .route("/lamps.js", get(look::script))
        .route("/lamp.svg", get(look::lamp))
        .route("/search", get(search::page))
        .route("/calls", get(calls::list).post(calls::begin))
        .route("/calls/{call}", get(calls::page))
        .route("/calls/{call}/next", get(calls::next))
        .route("/calls/{call}/lamps", post(calls::lamps))
        .route("/calls/{call}/say", post(calls::say))
        .route("/calls/{call}/answer", post(calls::answer))
        .route("/calls/{call}/change", post(calls::change))
        .route("/calls/{call}/end", post(calls::end))
        .route("/calls/{call}/report", get(calls::report))
        .route("/machines", get(machines::list).post(machines::add))
        .route("/machines/{machine}", get(machines::page).post(machines::change))
        .route("/machines/{machine}/procedures/{name}", get(procedures::page).post(procedures::go_on))
        .route("/types", get(machine_types::list))
        .route("/types/{type}", get(machine_types::page))
        .route("/types/{type}/devices", get(machine_types::devices))
        .route("/types/{type}/review", get(machine_types::review))
        .route("/types/{type}/sheets/{sheet}", get(machine_types::sheet))
        .route(
            "/types/{type}/file",
            get(machine_types::file).post(machine_types::save).layer(DefaultBodyLimit::max(LARGEST_FILE_FORM)),
        )
        .route("/figures", get(figures::page))
        .route("/practice", get(practice::choose))
        .route("/practice/{type}/{level}/{number}", get(practice::page).post(practice::take))
        .fallback(|| async { Mistake::not_there("there is no such page") })
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(from_fn_with_state(Arc::clone(&office), guard::guard))
        .with_state(office)
}

/// Why nothing is served.
#[derive(Debug)]
pub enum ServeError {
    /// The address can be reached from other computers, and there are no accounts yet that would keep strangers out.
    NotLoopback(SocketAddr),
    /// The address can't be used.
    Address(SocketAddr, std::io::Error),
    /// The server failed.
    Failed(std::io::Error),
}

impl std::fmt::Display for ServeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotLoopback(address) => {
                write!(
                    f,
                    "{address} can be reached from other computers, and there are no accounts to keep strangers out"
                )
            }
            Self::Address(address, error) => write!(f, "can't listen at {address}: {error}"),
            Self::Failed(error) => write!(f, "the server failed: {error}"),
        }
    }
}

impl std::error::Error for ServeError {}

/// A server that is listening and has not answered yet.
pub struct Serving {
    listener: std::net::TcpListener,
    address: SocketAddr,
}

impl Serving {
    /// Listens at an address of this computer; port 0 takes any that is free.
    ///
    /// # Errors
    /// When the address is none of the loopback interface, or is taken.
    pub fn at(address: SocketAddr) -> Result<Self, ServeError> {
        if !address.ip().is_loopback() {
            return Err(ServeError::NotLoopback(address));
        }
        let listen = || {
            let listener = std::net::TcpListener::bind(address)?;
            listener.set_nonblocking(true)?;
            let address = listener.local_addr()?;
            Ok(Self { listener, address })
        };
        listen().map_err(|error| ServeError::Address(address, error))
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
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
        let pages = router(Arc::new(office));
        let stop = async {
            // Where the signal can't be had, the program is ended from outside; all that was said is on the disk.
            if tokio::signal::ctrl_c().await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        let (told, mut is_told) = tokio::sync::watch::channel(false);
        let stop = async move {
            stop.await;
            // Nobody is left to be told only if the server has ended by itself.
            _ = told.send(true);
        };
        let serving = axum::serve(listener, pages).with_graceful_shutdown(stop).into_future();
        let patience = async move {
            if is_told.wait_for(|told| *told).await.is_err() {
                std::future::pending::<()>().await;
            }
            tokio::time::sleep(PATIENCE).await;
        };
        tokio::select! {
            ended = serving => ended.map_err(ServeError::Failed),
            () = patience => Ok(()),
        }
    });
    // What is being worked out for a page that nobody waits for any more is left; all that was said is on the disk.
    runtime.shutdown_background();
    ended
}
