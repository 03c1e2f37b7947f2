//! The files that pages are dressed with; they are inside the program.

use axum::http::header;
use axum::response::IntoResponse;

const CSS: &str = include_str!("assets/look.css");
const SCRIPT: &str = include_str!("assets/lamps.js");
const LAMP: &str = include_str!("assets/lamp.svg");

pub async fn css() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], CSS)
}

pub async fn script() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], SCRIPT)
}

pub async fn lamp() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "image/svg+xml")], LAMP)
}
