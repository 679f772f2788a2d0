//! Who is let in: a browser of this machine that was given the secret, on a page of ours.

use super::keys::Keys;
use crate::patch::LARGEST_FILE;
use axum::http::header::{CONTENT_LENGTH, COOKIE, HOST, ORIGIN, TRANSFER_ENCODING};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, Method, StatusCode};

/// What the cookie is called. Cookies go to every port of a machine: the port in its name keeps two runs apart.
pub(super) fn cookie_name(port: u16) -> String {
    format!("hitgap-{port}")
}

/// Where a browser comes in: the secret follows.
pub(super) const ENTRANCE: &str = "/enter/";

/// What changes something.
pub(super) const WRITES: [&str; 10] =
    ["/edit", "/text", "/undo", "/redo", "/save", "/take", "/begin", "/files", "/stop", "/hear"];
/// The largest body, in bytes: the largest patch, and what JSON may make of it.
pub(super) const LARGEST_BODY: usize = 3 * LARGEST_FILE;

/// Why a request is not answered.
pub(super) type Refusal = (StatusCode, &'static str);

/// The only value that a header has; `None` where there is none.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Result<Option<&'h str>, Refusal> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (None, _) => Ok(None),
        (Some(value), None) => value.to_str().map(Some).map_err(|_| (StatusCode::BAD_REQUEST, "an odd header")),
        _ => Err((StatusCode::BAD_REQUEST, "a header twice")),
    }
}

/// Lets a request pass, or says why not.
pub(super) fn admit(request: &Parts, port: u16, keys: &Keys) -> Result<(), Refusal> {
    // Another site's name that leads to this machine is not ours.
    let ours = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    let host = only(&request.headers, &HOST)?;
    if request.uri.authority().is_some() || !host.is_some_and(|host| ours.iter().any(|our| our == host)) {
        return Err((StatusCode::MISDIRECTED_REQUEST, "another host"));
    }
    if let Some(origin) = only(&request.headers, &ORIGIN)?
        && Some(origin.strip_prefix("http://").unwrap_or_default()) != host
    {
        return Err((StatusCode::FORBIDDEN, "another origin"));
    }
    let site = only(&request.headers, &HeaderName::from_static("sec-fetch-site"))?;
    if site.is_some_and(|site| !matches!(site, "same-origin" | "none")) {
        return Err((StatusCode::FORBIDDEN, "another site"));
    }
    let writes = WRITES.contains(&request.uri.path());
    let methods: &[Method] = if writes { &[Method::POST, Method::PUT] } else { &[Method::GET] };
    if !methods.contains(&request.method) {
        return Err((StatusCode::METHOD_NOT_ALLOWED, "another method"));
    }
    // What changes something comes from a page, and a browser says which.
    if writes && !request.headers.contains_key(ORIGIN) {
        return Err((StatusCode::FORBIDDEN, "no origin"));
    }
    let length = only(&request.headers, &CONTENT_LENGTH)?.map_or(Some(0), |length| length.parse::<usize>().ok());
    if length.is_none_or(|length| length > if writes { LARGEST_BODY } else { 0 })
        || request.headers.contains_key(TRANSFER_ENCODING)
    {
        return Err((StatusCode::PAYLOAD_TOO_LARGE, "more than belongs there"));
    }
    if request.uri.path().starts_with(ENTRANCE) {
        return Ok(());
    }
    let name = cookie_name(port);
    let cookies = request.headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    match pairs.any(|(own, value)| own == name && keys.cookie.is(value)) {
        true => Ok(()),
        false => Err((StatusCode::FORBIDDEN, "open it with the address that the program prints")),
    }
}
