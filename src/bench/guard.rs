//! Who may reach the page: this computer's own browser, with the key of the first link, and no
//! other site through it.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Name of the cookie that holds the key.
pub const COOKIE: &str = "warpwise_bench";

/// What the page may load: nothing from elsewhere, no script in the page itself.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; form-action 'self'; \
                      frame-src 'self'; object-src 'self'; base-uri 'none'; frame-ancestors 'self'";

/// The policy for files of the workshop shown as they are, such as a report: its own inline style
/// and script, no reach beyond.
pub const FILE_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; sandbox";

/// The key and the addresses under which the server may be asked.
#[derive(Debug)]
pub struct Guard {
    key: String,
    hosts: Vec<String>,
    cookie: &'static str,
}

impl Guard {
    /// A guard for a port of the loopback address, with a key that cannot be guessed.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn new(port: u16) -> std::io::Result<Guard> {
        let hosts = ["127.0.0.1", "localhost", "[::1]"].map(|h| format!("{h}:{port}")).to_vec();
        Guard::of(hosts, COOKIE)
    }

    /// A guard for a server that answers under these names only.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn of(hosts: Vec<String>, cookie: &'static str) -> std::io::Result<Guard> {
        let mut bytes = [0_u8; 24];
        getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
        let key = bytes.iter().map(|b| format!("{b:02x}")).collect();
        Ok(Guard { key, hosts, cookie })
    }

    /// The key.
    pub fn key(&self) -> &str {
        &self.key
    }

    fn knows_host(&self, headers: &HeaderMap) -> bool {
        let mut hosts = headers.get_all(header::HOST).iter();
        let host = hosts.next().and_then(|h| h.to_str().ok());
        hosts.next().is_none()
            && host.is_some_and(|h| self.hosts.iter().any(|known| known.eq_ignore_ascii_case(h)))
    }

    /// A change must come from a page of this server: browsers say where a request comes from, and
    /// cannot be made not to.
    fn is_from_here(&self, method: &Method, headers: &HeaderMap) -> bool {
        let site = headers.get("sec-fetch-site").and_then(|v| v.to_str().ok());
        if site.is_some_and(|s| !matches!(s, "same-origin" | "none")) {
            return false;
        }
        let origin = headers.get(header::ORIGIN).map(|v| v.to_str().unwrap_or_default());
        match origin {
            Some(origin) => {
                self.hosts.iter().any(|h| origin.eq_ignore_ascii_case(&format!("http://{h}")))
            }
            None => matches!(*method, Method::GET | Method::HEAD),
        }
    }

    fn knows_key(&self, given: &str) -> bool {
        // Every byte is looked at, so that time tells nothing.
        given.len() == self.key.len()
            && given.bytes().zip(self.key.bytes()).fold(0, |d, (a, b)| d | (a ^ b)) == 0
    }

    fn has_cookie(&self, headers: &HeaderMap) -> bool {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
        cookies
            .flat_map(|c| c.split(';'))
            .filter_map(|c| c.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && self.knows_key(value))
    }
}

/// Lets a request through, or refuses it; gives every answer its headers.
pub async fn guarded(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let refusal = |status: StatusCode, words: &str| {
        with_headers((status, format!("{words}\n")).into_response())
    };
    if !guard.knows_host(request.headers()) {
        return refusal(
            StatusCode::MISDIRECTED_REQUEST,
            "this server answers under the address it printed only",
        );
    }
    if !guard.is_from_here(request.method(), request.headers()) {
        return refusal(StatusCode::FORBIDDEN, "this request comes from another site");
    }
    let key = request.uri().query().and_then(|q| q.split('&').find_map(|p| p.strip_prefix("key=")));
    if let Some(key) = key
        && request.method() == Method::GET
    {
        if !guard.knows_key(key) {
            return refusal(
                StatusCode::FORBIDDEN,
                "this link is of an earlier run: use the one that `warpwise bench` printed last",
            );
        }
        let cookie = format!("{}={key}; Path=/; HttpOnly; SameSite=Strict", guard.cookie);
        let mut response = Response::new(Body::empty());
        *response.status_mut() = StatusCode::SEE_OTHER;
        let headers = response.headers_mut();
        headers.insert(
            header::LOCATION,
            HeaderValue::from_str(request.uri().path()).unwrap_or(HeaderValue::from_static("/")),
        );
        headers.extend(HeaderValue::from_str(&cookie).ok().map(|c| (header::SET_COOKIE, c)));
        return with_headers(response);
    }
    if !guard.has_cookie(request.headers()) {
        return refusal(StatusCode::UNAUTHORIZED, "open the link that `warpwise bench` printed");
    }
    with_headers(next.run(request).await)
}

fn with_headers(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-opener-policy", HeaderValue::from_static("same-origin"));
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    response
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs
            .iter()
            .map(|(name, value)| {
                (name.parse::<header::HeaderName>().unwrap(), HeaderValue::from_str(value).unwrap())
            })
            .collect()
    }

    #[test]
    fn only_the_loopback_names_are_answered_whatever_a_name_server_says() {
        let guard = Guard::new(9137).unwrap();
        for host in ["127.0.0.1:9137", "localhost:9137", "LOCALHOST:9137", "[::1]:9137"] {
            assert!(guard.knows_host(&headers(&[("host", host)])), "{host}");
        }
        for host in
            ["evil.example:9137", "127.0.0.1", "127.0.0.1:80", "127.0.0.1.evil.example:9137", ""]
        {
            assert!(!guard.knows_host(&headers(&[("host", host)])), "{host}");
        }
        let mut two = headers(&[("host", "127.0.0.1:9137")]);
        two.append("host", HeaderValue::from_static("evil.example"));
        assert!(!guard.knows_host(&two) && !guard.knows_host(&HeaderMap::new()));
    }

    #[test]
    fn a_change_from_another_site_is_refused() {
        let guard = Guard::new(9137).unwrap();
        let ok = |method: &Method, pairs: &[(&'static str, &str)]| {
            guard.is_from_here(method, &headers(pairs))
        };
        assert!(ok(
            &Method::POST,
            &[("origin", "http://127.0.0.1:9137"), ("sec-fetch-site", "same-origin")]
        ));
        assert!(ok(&Method::GET, &[]) && !ok(&Method::POST, &[]));
        for origin in [
            "null",
            "http://evil.example",
            "https://127.0.0.1:9137",
            "http://127.0.0.1:9138",
            "http://127.0.0.1:9137.evil.example",
        ] {
            assert!(
                !ok(&Method::POST, &[("origin", origin)])
                    && !ok(&Method::GET, &[("origin", origin)]),
                "{origin}"
            );
        }
        assert!(
            !ok(&Method::GET, &[("sec-fetch-site", "cross-site")])
                && !ok(&Method::GET, &[("sec-fetch-site", "same-site")])
        );
    }

    #[test]
    fn the_key_opens_and_nothing_like_it() {
        let guard = Guard::new(1).unwrap();
        let key = guard.key().to_string();
        assert_eq!(key.len(), 48);
        assert_ne!(key, Guard::new(1).unwrap().key());
        assert!(guard.has_cookie(&headers(&[("cookie", &format!("a=b; {COOKIE}={key}"))])));
        for bad in
            [String::new(), key[1..].to_string(), format!("{key}0"), key.to_uppercase() + "x"]
        {
            assert!(
                !guard.has_cookie(&headers(&[("cookie", &format!("{COOKIE}={bad}"))])),
                "{bad}"
            );
        }
    }
}
