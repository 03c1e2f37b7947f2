//! The pages as a browser asks for them, without a browser.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response, StatusCode, header};
use http_body_util::BodyExt as _;
use jiff::Timestamp;
use pages::{Office, router};
use records::{NewMachine, NewVersion, Store};
use tower::ServiceExt as _;

pub const HERE: &str = "127.0.0.1:8420";

/// A machine so small that all about it is worked out in a moment.
pub const PRESS: &str = concat!(
    include_str!("../../../machine/tests/files/bare_press.toml"),
    r#"[procedures.stroke]
purpose = "To see that the ram moves."
steps = [
  { words = "Look at the lamps.", expect = "X2 on" },
  { do = "press start", words = "Press start.", measure = { words = "stroke", unit = "mm", from = 40, to = 60, outside = "adjust the stop" } },
]
"#
);

pub struct Browser {
    pub pages: Router,
}

pub struct Shown {
    pub status: StatusCode,
    pub headers: axum::http::HeaderMap,
    pub text: String,
}

impl Shown {
    pub fn leads_to(&self) -> &str {
        assert_eq!(self.status, StatusCode::SEE_OTHER, "{}", self.text);
        self.headers[header::LOCATION].to_str().unwrap()
    }

    /// The value of the first hidden field of this name.
    pub fn field(&self, name: &str) -> String {
        let at =
            self.text.find(&format!("name=\"{name}\" value=\"")).unwrap_or_else(|| panic!("{name}: {}", self.text));
        let rest = &self.text[at..];
        rest.split('"').nth(3).unwrap().to_owned()
    }
}

impl Browser {
    pub fn new() -> Self {
        Self::at(|office| office)
    }

    /// The pages of an office that was changed so.
    pub fn at(change: impl FnOnce(Office) -> Office) -> Self {
        let mut store = Store::in_memory().unwrap();
        let now: Timestamp = "2026-03-01T09:00:00Z".parse().unwrap();
        let added =
            store.add_version(&NewVersion { name: "press", text: PRESS, ..NewVersion::default() }, now).unwrap();
        let new = NewMachine {
            serial: "PR-7".into(),
            site: Some("Quince Lane <b>Works</b>".into()),
            ..NewMachine::of(added.machine_type)
        };
        store.add_machine(&new, now).unwrap();
        let address: SocketAddr = HERE.parse().unwrap();
        Self { pages: router(Arc::new(change(Office::new(store, address)))) }
    }

    pub async fn ask(&self, request: Request<Body>) -> Shown {
        let answer: Response<Body> = self.pages.clone().oneshot(request).await.unwrap();
        let (parts, body) = answer.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes();
        Shown { status: parts.status, headers: parts.headers, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    pub async fn get(&self, address: &str) -> Shown {
        self.ask(Request::get(address).header(header::HOST, HERE).body(Body::empty()).unwrap()).await
    }

    pub async fn post(&self, address: &str, fields: &[(&str, &str)]) -> Shown {
        let form: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
        let request = Request::post(address)
            .header(header::HOST, HERE)
            .header(header::ORIGIN, format!("http://{HERE}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(form.join("&")))
            .unwrap();
        self.ask(request).await
    }
}

pub fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| if byte.is_ascii_alphanumeric() { (byte as char).to_string() } else { format!("%{byte:02X}") })
        .collect()
}
