//! How the pages are reached: by which names, whether what goes over the network is encrypted, and whether everybody
//! has to sign in.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::str::FromStr;

/// A name by which the pages are called: `desk.example`, or with a port, `desk.example:8443`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HostName {
    name: String,
    port: Option<u16>,
}

impl FromStr for HostName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (name, port) = parts(text.trim());
        let port = match port {
            None => None,
            Some(digits) => Some(digits.parse().map_err(|_| format!("`{digits}` is no port"))?),
        };
        let inner = name.strip_prefix('[').and_then(|name| name.strip_suffix(']'));
        let is_address = inner.is_some_and(|inner| inner.parse::<std::net::Ipv6Addr>().is_ok());
        let is_letter = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '.');
        if is_address || (!name.is_empty() && name.chars().all(is_letter)) {
            return Ok(Self { name: name.to_ascii_lowercase(), port });
        }
        Err(format!("`{text}` is no name of a computer; write it as it stands in the browser, without http://"))
    }
}

/// A host as a browser sends it, taken apart: name and port.
fn parts(host: &str) -> (&str, Option<&str>) {
    match host.rsplit_once(':') {
        Some((name, port)) if !name.is_empty() && port.bytes().all(|one| one.is_ascii_digit()) => (name, Some(port)),
        _ => (host, None),
    }
}

/// How the pages are reached. By default: over the loopback interface, in the clear, without signing in.
#[derive(Clone, Debug, Default)]
pub struct Reached {
    /// Everybody signs in, also at an address of the loopback interface.
    pub accounts: bool,
    /// Names by which they are called, beside those of the loopback interface and the address itself.
    pub names: Vec<HostName>,
    /// The files of certificate and key, both as PEM, if the program itself encrypts.
    pub certificate: Option<(PathBuf, PathBuf)>,
    /// Whether a proxy stands in front, which encrypts, and says in `X-Forwarded-For` who asks.
    pub behind_proxy: bool,
}

impl Reached {
    /// Whether everybody has to sign in: whenever somebody at another computer could ask.
    #[must_use]
    pub fn wants_accounts(&self, address: SocketAddr) -> bool {
        self.accounts || !address.ip().is_loopback() || self.is_encrypted() || !self.names.is_empty()
    }

    /// Whether what goes over the network is encrypted, here or in front.
    #[must_use]
    pub fn is_encrypted(&self) -> bool {
        self.certificate.is_some() || self.behind_proxy
    }

    /// The scheme of the addresses that browsers see.
    #[must_use]
    pub fn scheme(&self) -> &'static str {
        if self.is_encrypted() { "https" } else { "http" }
    }

    /// Where the first page is, as it is to be typed into a browser.
    #[must_use]
    pub fn url(&self, address: SocketAddr) -> String {
        let host = match self.names.first() {
            None => address.to_string(),
            Some(HostName { name, port }) => match port.or_else(|| (!self.behind_proxy).then(|| address.port())) {
                Some(port) if port != self.usual_port() => format!("{name}:{port}"),
                _ => name.clone(),
            },
        };
        format!("{}://{host}/", self.scheme())
    }

    fn usual_port(&self) -> u16 {
        if self.is_encrypted() { 443 } else { 80 }
    }

    /// Whether this is one of the names of this program, as a browser sends them. Another site's name that leads here
    /// would make its pages pages of ours.
    pub(crate) fn is_called(&self, host: &str, address: SocketAddr) -> bool {
        let (name, port) = parts(host);
        let name = name.to_ascii_lowercase();
        let port = port.map_or(self.usual_port(), |port| port.parse().unwrap_or(0));
        let named = self.names.iter().any(|known| {
            let usual = if self.behind_proxy { self.usual_port() } else { address.port() };
            known.name == name && known.port.unwrap_or(usual) == port
        });
        if named {
            return true;
        }
        // An address in digits is no name that somebody else could let lead here.
        let own = !address.ip().is_unspecified() && format!("{name}:{port}") == address.to_string();
        own || (port == address.port() && matches!(name.as_str(), "localhost" | "127.0.0.1" | "[::1]"))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn reached(names: &[&str], certificate: bool, behind_proxy: bool) -> Reached {
        let names = names.iter().map(|name| name.parse().unwrap()).collect();
        let certificate = certificate.then(|| (PathBuf::from("certificate.pem"), PathBuf::from("key.pem")));
        Reached { accounts: false, names, certificate, behind_proxy }
    }

    #[test]
    fn only_its_own_names_lead_here() {
        let everywhere: SocketAddr = "0.0.0.0:8443".parse().unwrap();
        let own = reached(&["desk.example", "other.example:9443"], true, false);
        for host in ["desk.example:8443", "DESK.example:8443", "other.example:9443", "localhost:8443"] {
            assert!(own.is_called(host, everywhere), "{host}");
        }
        for host in ["desk.example", "desk.example:443", "elsewhere.example:8443", "0.0.0.0:8443", "", ":8443"] {
            assert!(!own.is_called(host, everywhere), "{host}");
        }
        let here: SocketAddr = "127.0.0.1:8420".parse().unwrap();
        let proxied = reached(&["desk.example"], false, true);
        assert!(proxied.is_called("desk.example", here) && proxied.is_called("desk.example:443", here));
        assert!(!proxied.is_called("desk.example:8420", here) && !proxied.is_called("desk.example:80", here));
        let address: SocketAddr = "192.0.2.7:8443".parse().unwrap();
        assert!(reached(&[], true, false).is_called("192.0.2.7:8443", address));
        assert!(!reached(&[], true, false).is_called("192.0.2.8:8443", address));
        let six: SocketAddr = "[2001:db8::7]:8443".parse().unwrap();
        assert!(reached(&[], true, false).is_called("[2001:db8::7]:8443", six));
    }

    #[test]
    fn nobody_signs_in_only_where_nobody_else_can_ask() {
        let here: SocketAddr = "127.0.0.1:8420".parse().unwrap();
        assert!(!Reached::default().wants_accounts(here));
        assert!(!Reached::default().wants_accounts("[::1]:1".parse().unwrap()));
        assert!(Reached::default().wants_accounts("192.0.2.7:1".parse().unwrap()));
        assert!(Reached { accounts: true, ..Reached::default() }.wants_accounts(here));
        for other in [reached(&["desk.example"], false, false), reached(&[], true, false), reached(&[], false, true)] {
            assert!(other.wants_accounts(here), "{other:?}");
        }
    }

    #[test]
    fn names_and_addresses_to_be_typed() {
        for wrong in ["", "http://desk.example", "desk.example/", "desk example", "desk.example:99999", "[::zz]"] {
            assert!(wrong.parse::<HostName>().is_err(), "{wrong}");
        }
        let address: SocketAddr = "0.0.0.0:8443".parse().unwrap();
        assert_eq!(reached(&["Desk.example"], true, false).url(address), "https://desk.example:8443/");
        assert_eq!(reached(&["desk.example"], false, true).url(address), "https://desk.example/");
        assert_eq!(Reached::default().url("[::1]:80".parse().unwrap()), "http://[::1]:80/");
    }
}
