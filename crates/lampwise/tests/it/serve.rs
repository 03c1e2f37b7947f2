//! `lampwise serve`: where it listens, and when it does not.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Stdio};

use serde_json::Value;

use crate::accounts::with_account;
use crate::json::valid;
use crate::records::place;
use crate::support::{command, lampwise, root};

/// A server that is ended with the test.
struct Server {
    child: Child,
    said: Value,
}

impl Server {
    fn start(arguments: &[&str]) -> Self {
        let arguments: Vec<&str> = ["serve", "--json"].into_iter().chain(arguments.iter().copied()).collect();
        let mut command = command(&arguments);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().unwrap();
        let mut text = String::new();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        while serde_json::from_str::<Value>(&text).is_err() {
            assert!(lines.read_line(&mut text).unwrap() > 0, "the server ended: {text}");
        }
        Self { child, said: valid("serve", &text) }
    }

    fn get(&self, address: &str, host: &str, cookie: &str) -> String {
        let mut stream = TcpStream::connect(address).unwrap();
        let cookie = if cookie.is_empty() { String::new() } else { format!("cookie: {cookie}\r\n") };
        write!(stream, "GET / HTTP/1.1\r\nHost: {host}\r\n{cookie}Connection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        _ = self.child.kill();
        _ = self.child.wait();
    }
}

fn free_port() -> String {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port().to_string()
}

#[test]
fn on_this_computer_nobody_signs_in_unless_that_is_wanted() {
    let path = with_account("serve-here");
    let server = Server::start(&["--records", &path, "--port", "0"]);
    assert_eq!(server.said["sign_in"], false);
    let url = server.said["address"].as_str().unwrap();
    let address = url.trim_start_matches("http://").trim_end_matches('/');
    assert!(server.get(address, address, "").starts_with("HTTP/1.1 200"));
    drop(server);
    let server = Server::start(&["--records", &path, "--port", "0", "--accounts"]);
    assert_eq!(server.said["sign_in"], true);
    let url = server.said["address"].as_str().unwrap().to_owned();
    let address = url.trim_start_matches("http://").trim_end_matches('/');
    assert!(server.get(address, address, "").contains("location: /sign-in?then=%2F"));
}

#[test]
fn behind_a_proxy_everybody_signs_in_and_only_its_name_is_answered() {
    let path = with_account("serve-proxy");
    let port = free_port();
    let listen = format!("127.0.0.1:{port}");
    let server = Server::start(&["--records", &path, "--listen", &listen, "--behind-proxy", "--host", "desk.example"]);
    assert_eq!(server.said["address"], "https://desk.example/");
    assert!(server.get(&listen, "desk.example", "").contains("location: /sign-in"));
    assert!(server.get(&listen, "elsewhere.example", "").starts_with("HTTP/1.1 403"));
}

#[test]
fn from_elsewhere_nothing_is_served_in_the_clear_without_accounts_or_without_a_name() {
    let path = with_account("serve-refused");
    let empty = place("serve-empty");
    lampwise(&["records", "init", &empty]).good();
    let data = root().join("crates/pages/tests/data");
    let (certificate, key) = (data.join("certificate.pem"), data.join("key.pem"));
    let (certificate, key) = (certificate.to_str().unwrap(), key.to_str().unwrap());
    let encrypted = ["--certificate", certificate, "--key", key];
    let missing = place("serve-missing");
    for (arguments, why, hint) in [
        (vec!["--records", &path, "--listen", "0.0.0.0:0"], "in the clear", "--certificate"),
        (vec!["--records", &path, "--listen", "0.0.0.0:0", "--behind-proxy"], "by which name", "--host"),
        (vec!["--records", &empty, "--behind-proxy", "--host", "desk.example"], "no account", "lampwise accounts add"),
        (vec!["--records", &empty, "--accounts"], "no account", "lampwise accounts add"),
        (vec!["--records", &missing, "--listen", "0.0.0.0:0"], "no account", "lampwise records init"),
        (vec!["--demo", "--accounts"], "no account", "this computer alone"),
        (vec!["--records", &path, "--certificate", certificate], "--key", ""),
        (vec!["--records", &path, "--host", "http://desk.example"], "is no name", ""),
        (vec!["--records", &path, "--certificate", key, "--key", key, "--port", "0"], "holds no certificate", "PEM"),
        (
            [&["--records", &empty, "--host", "desk.example", "--port", "0"], &encrypted[..]].concat(),
            "no account",
            "add",
        ),
        ([&["--records", &path, "--listen", "0.0.0.0:0"], &encrypted[..]].concat(), "by which name", "--host"),
        ([&["--records", &path, "--behind-proxy"], &encrypted[..]].concat(), "cannot be used with", ""),
    ] {
        let arguments: Vec<&str> = ["serve"].into_iter().chain(arguments).collect();
        let said = lampwise(&arguments).bad(2);
        assert!(said.contains(why) && said.contains(hint), "{arguments:?}: {said}");
    }
    assert!(!std::path::Path::new(&missing).exists(), "nothing was begun");
}
