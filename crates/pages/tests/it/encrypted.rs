//! The pages over a network, encrypted by the program itself.

use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use pages::{Reached, ServeError, Serving, serve};
use records::Store;
use records::accounts::{NewPassword, Role};
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

fn reached(certificate: &str, key: &str) -> Reached {
    let certificate = Some((data(certificate), data(key)));
    Reached { names: vec!["desk.example".parse().unwrap()], certificate, ..Reached::default() }
}

/// What is answered to a request over an encrypted connection.
fn ask(address: SocketAddr, request: &str) -> String {
    let mut trusted = RootCertStore::empty();
    trusted.add(CertificateDer::from_pem_file(data("certificate.pem")).unwrap()).unwrap();
    let settings = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(trusted)
        .with_no_client_auth();
    let name = ServerName::try_from("desk.example").unwrap();
    let connection = ClientConnection::new(Arc::new(settings), name).unwrap();
    let stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let mut stream = StreamOwned::new(connection, stream);
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    // The other side may close without saying so in TLS.
    _ = stream.read_to_end(&mut answer);
    String::from_utf8(answer).unwrap()
}

fn served(store: Store) -> SocketAddr {
    let serving = Serving::at("127.0.0.1:0".parse().unwrap(), reached("certificate.pem", "key.pem")).unwrap();
    let address = serving.address();
    let office = serving.office(store).unwrap();
    // Goes on until the tests end.
    std::thread::spawn(move || serve(serving, office));
    address
}

#[test]
fn a_password_goes_over_the_network_only_encrypted() {
    let mut store = Store::in_memory().unwrap();
    let now = jiff::Timestamp::now();
    let password = NewPassword::of("ada", "plum kettle ladder fog").unwrap();
    store.add_account("ada", Role::Reader, &password, now).unwrap();
    let address = served(store);
    let port = address.port();
    let rest = format!("Host: desk.example:{port}\r\nConnection: close\r\n");
    // Somebody who connects and says nothing keeps nobody waiting.
    let silent: Vec<TcpStream> = (0..5).map(|_| TcpStream::connect(address).unwrap()).collect();
    let stranger = ask(address, &format!("GET / HTTP/1.1\r\n{rest}\r\n"));
    assert!(stranger.starts_with("HTTP/1.1 303") && stranger.contains("location: /sign-in?then=%2F"), "{stranger}");
    let form = "name=ada&password=plum+kettle+ladder+fog&then=%2Fcalls";
    let head = format!("content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n", form.len());
    let origin = format!("origin: https://desk.example:{port}\r\n");
    let signed_in = ask(address, &format!("POST /sign-in HTTP/1.1\r\n{rest}{origin}{head}\r\n{form}"));
    assert!(signed_in.starts_with("HTTP/1.1 303") && signed_in.contains("location: /calls"), "{signed_in}");
    let set = signed_in.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    assert!(set.starts_with("__Host-lampwise=") && set.contains("; Secure"), "{set}");
    let cookie = set.split(';').next().unwrap();
    let calls = ask(address, &format!("GET /calls HTTP/1.1\r\n{rest}cookie: {cookie}\r\n\r\n"));
    assert!(calls.starts_with("HTTP/1.1 200") && calls.contains("ada (reader)"), "{calls}");
    // A form that was made up in the clear comes from no page of this program.
    let clear = format!("origin: http://desk.example:{port}\r\n");
    let refused = ask(address, &format!("POST /sign-in HTTP/1.1\r\n{rest}{clear}{head}\r\n{form}"));
    assert!(refused.starts_with("HTTP/1.1 403"), "{refused}");
    // In the clear nothing is answered at all.
    let mut plain = TcpStream::connect(address).unwrap();
    plain.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    plain.write_all(format!("GET / HTTP/1.1\r\n{rest}\r\n").as_bytes()).unwrap();
    let mut answer = Vec::new();
    _ = plain.read_to_end(&mut answer);
    assert!(!answer.starts_with(b"HTTP"), "{answer:?}");
    drop(silent);
}

#[test]
fn certificates_that_can_not_be_used_are_told_before_anything_is_served() {
    for (certificate, key, why) in [
        ("none.pem", "key.pem", "none.pem"),
        ("certificate.pem", "none.pem", "none.pem"),
        ("certificate.pem", "other-key.pem", "do not fit together"),
        ("key.pem", "key.pem", "holds no certificate"),
        ("certificate.pem", "certificate.pem", "certificate.pem: "),
        ("README.md", "key.pem", "holds no certificate"),
    ] {
        match Serving::at("127.0.0.1:0".parse().unwrap(), reached(certificate, key)) {
            Err(ServeError::Certificate(said)) => assert!(said.contains(why), "{certificate} {key}: {said}"),
            Err(other) => panic!("{certificate} {key}: {other}"),
            Ok(_) => panic!("{certificate} {key} were taken"),
        }
    }
}
