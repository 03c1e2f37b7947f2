//! `lampwise serve`: the web pages, at an address of this computer.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;

use diagnose::Shelf;
use jiff::Timestamp;
use pages::{Reached, ServeError, Serving};
use records::Store;
use records::demo;
use serde_json::json;

use crate::arguments::Serve;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::Screen;

/// Opens the records, listens, says where, and answers until it is told to stop.
pub fn run(arguments: &Serve, screen: &Screen, shelf: Arc<dyn Shelf>) -> Result<(), Failure> {
    let address = match arguments.listen {
        Some(address) => address,
        None => SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), arguments.port),
    };
    let certificate = arguments.certificate.clone().zip(arguments.key.clone());
    let names = arguments.host.clone();
    let reached = Reached { accounts: arguments.accounts, names, certificate, behind_proxy: arguments.behind_proxy };
    let sign_in = reached.wants_accounts(address);
    let records = &arguments.records;
    if sign_in && (arguments.demo || !records.exists()) {
        // Nothing is begun that nobody could use.
        return Err(cannot(&ServeError::NoAccounts(address), records, arguments.demo));
    }
    let cannot = |error: &ServeError| cannot(error, records, arguments.demo);
    // Before the records are opened: who can't listen needs none.
    let serving = Serving::at(address, reached.clone()).map_err(|error| cannot(&error))?;
    let store = if arguments.demo {
        progress::while_working("inventing two years of calls", || {
            let mut store = Store::in_memory()?;
            demo::fill(&mut store, &demo::Wanted::default(), Timestamp::now())?;
            Ok(store)
        })
    } else {
        Store::open(&arguments.records)
    }
    .map_err(|error: records::Error| input::recorded::failure(&error))?;
    let office = serving.office(store).map_err(|error| cannot(&error))?.with_shelf(shelf);
    let url = reached.url(serving.address());
    if screen.json {
        screen.print_json(&json!({
            "schema": "lampwise.serve/1",
            "address": url,
            "demo": arguments.demo,
            "sign_in": sign_in,
            "records": (!arguments.demo).then(|| arguments.records.display().to_string()),
        }))?;
    } else {
        let what = match arguments.demo {
            true => "invented machines and calls; nothing that is done to them is kept".to_owned(),
            false => format!("records in {}", arguments.records.display()),
        };
        let who = if sign_in { "Everybody signs in. " } else { "" };
        screen.print(&format!("Lampwise is at {url} ({what}).\n{who}Ctrl-C ends it.\n"))?;
    }
    pages::serve(serving, office).map_err(|error| cannot(&error))
}

fn cannot(error: &ServeError, records: &Path, demo: bool) -> Failure {
    let records = records.display();
    let hint = match error {
        ServeError::NoAccounts(_) if demo => {
            "the demo is for this computer alone: leave --listen, --host and the like out".to_owned()
        }
        ServeError::NoAccounts(_) => format!(
            "add one: `lampwise accounts add {records} NAME --role editor` (records that are not there yet are begun \
             with `lampwise records init {records}`)"
        ),
        ServeError::InTheClear(_) => {
            "give --certificate and --key, or --behind-proxy if a proxy in front encrypts; or listen at 127.0.0.1"
                .to_owned()
        }
        ServeError::NoName(_) => "say by which name it is reached: --host desk.example".to_owned(),
        ServeError::Certificate(_) => "give both as PEM, the certificate with what leads to its root".to_owned(),
        ServeError::Records(error) => error.hint.clone(),
        ServeError::Address(..) => {
            "another program may be there; choose another with --port, or 0 for any that is free".to_owned()
        }
        ServeError::Failed(_) => "start it once more; all that a page has shown is kept".to_owned(),
    };
    Failure::new("serve", error.to_string(), hint)
}
