//! `lampwise serve`: the web pages, at an address of this computer.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};

use jiff::Timestamp;
use pages::{Office, ServeError, Serving};
use records::Store;
use records::demo;
use serde_json::json;

use crate::arguments::Serve;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::Screen;

/// Opens the records, listens, says where, and answers until it is told to stop.
pub fn run(arguments: &Serve, screen: &Screen) -> Result<(), Failure> {
    let address = match arguments.listen {
        Some(address) => address,
        None => SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), arguments.port),
    };
    // Before the records are opened: who can't listen needs none.
    let serving = Serving::at(address).map_err(|error| cannot(&error))?;
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
    let address = serving.address();
    if screen.json {
        screen.print_json(&json!({
            "schema": "lampwise.serve/1",
            "address": format!("http://{address}/"),
            "demo": arguments.demo,
            "records": (!arguments.demo).then(|| arguments.records.display().to_string()),
        }))?;
    } else {
        let what = match arguments.demo {
            true => "invented machines and calls; nothing that is done to them is kept".to_owned(),
            false => format!("records in {}", arguments.records.display()),
        };
        screen.print(&format!("Lampwise is at http://{address}/ ({what}).\nCtrl-C ends it.\n"))?;
    }
    pages::serve(serving, Office::new(store, address)).map_err(|error| cannot(&error))
}

fn cannot(error: &ServeError) -> Failure {
    let hint = match error {
        ServeError::NotLoopback(_) => {
            "listen at 127.0.0.1 or ::1; reach it from elsewhere through a tunnel of your own"
        }
        ServeError::Address(..) => {
            "another program may be there; choose another with --port, or 0 for any that is free"
        }
        ServeError::Failed(_) => "start it once more; all that a page has shown is kept",
    };
    Failure::new("serve", error.to_string(), hint)
}
