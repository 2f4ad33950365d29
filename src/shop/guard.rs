//! Access control: only the archive's own pages, under one of this machine's names, and with a token if it is bound to another address.
//!
//! A stranger's page in the mechanic's browser can send requests to this machine, and with DNS rebinding even under its own name. So a
//! request must name this machine as its host (RFC 9110, 7.2), must not come from another site (`Sec-Fetch-Site`, W3C Fetch Metadata;
//! `Origin`, RFC 6454), and may only read (GET, HEAD).

use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, Method, StatusCode, header};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use subtle::ConstantTimeEq;

/// Fewest characters in a token.
pub(super) const TOKEN_LEAST: usize = 20;
/// This machine's names for itself.
const LOOPBACK: [&str; 3] = ["localhost", "127.0.0.1", "::1"];
/// Longest path and query of a request, bytes.
const LONGEST: usize = 4096;

/// Checks every request before any other code sees it.
#[derive(Debug, Clone)]
pub struct Guard {
    hosts: Vec<String>,
    any_address: bool,
    token: Option<[u8; 32]>,
}

/// A refused request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusal {
    /// The HTTP status.
    pub status: StatusCode,
    /// The reason, as a sentence.
    pub why: &'static str,
}

impl Guard {
    /// Guards an archive bound to `address`, with a `token` and further `names` of this machine.
    ///
    /// # Errors
    /// A sentence: there is no token although the address is not loopback, or the token is too short.
    pub fn new(address: IpAddr, token: Option<&str>, names: &[String]) -> Result<Guard, String> {
        if token.is_none() && !address.is_loopback() {
            return Err(format!(
                "bound to {address}, others on the network could read the archive: give a token by --token-file FILE or PROBESIDE_SHOP_TOKEN, \
                 or leave it at 127.0.0.1"
            ));
        }
        if token.is_some_and(|token| token.len() < TOKEN_LEAST || !token.bytes().all(|b| b.is_ascii_graphic())) {
            return Err(format!(
                "the token has to be at least {TOKEN_LEAST} letters, digits and signs of ASCII without spaces; `openssl rand -hex 16` makes one"
            ));
        }
        let mut hosts: Vec<String> = LOOPBACK.iter().map(|name| (*name).to_owned()).collect();
        hosts.push(address.to_string());
        hosts.extend(names.iter().map(|name| name.to_ascii_lowercase()));
        let any_address = address.is_unspecified();
        Ok(Guard { hosts, any_address, token: token.map(|token| Sha256::digest(token.as_bytes()).into()) })
    }

    /// Checks whether a request may be answered.
    ///
    /// # Errors
    /// The refusal.
    pub fn check(&self, request: &Parts) -> Result<(), Refusal> {
        let refuse = |status, why| Err(Refusal { status, why });
        let headers = &request.headers;
        let Some(host) = only(headers, &header::HOST) else {
            return refuse(StatusCode::BAD_REQUEST, "The request names no host, or several.");
        };
        let authority = request.uri.authority().map(|authority| authority.as_str());
        if !self.known(host) || authority.is_some_and(|authority| !self.known(authority)) {
            return refuse(StatusCode::FORBIDDEN, "The archive does not go by this name.");
        }
        let site_given = headers.contains_key("sec-fetch-site");
        let own_site = only(headers, &HeaderName::from_static("sec-fetch-site"))
            .is_some_and(|site| matches!(site, "same-origin" | "none"));
        if site_given && !own_site {
            return refuse(StatusCode::FORBIDDEN, "Another site's page asks; type the archive's address instead.");
        }
        let own_origin = |origin: &str| origin.eq_ignore_ascii_case(&format!("http://{host}"));
        if headers.contains_key(header::ORIGIN) && !only(headers, &header::ORIGIN).is_some_and(own_origin) {
            return refuse(StatusCode::FORBIDDEN, "Another site's page asks; type the archive's address instead.");
        }
        if request.method != Method::GET && request.method != Method::HEAD {
            return refuse(StatusCode::METHOD_NOT_ALLOWED, "The archive is only read here.");
        }
        let no_body = only(headers, &header::CONTENT_LENGTH).is_none_or(|length| length == "0");
        if !no_body
            || headers.get_all(header::CONTENT_LENGTH).iter().count() > 1
            || headers.contains_key(header::TRANSFER_ENCODING)
        {
            return refuse(StatusCode::PAYLOAD_TOO_LARGE, "The archive takes nothing in here.");
        }
        if request.uri.path_and_query().is_some_and(|asked| asked.as_str().len() > LONGEST) {
            return refuse(StatusCode::URI_TOO_LONG, "The address is too long.");
        }
        if !self.token_fits(headers) {
            return refuse(StatusCode::UNAUTHORIZED, "The archive asks for its token.");
        }
        Ok(())
    }

    /// Whether a host, with or without a port, is this machine.
    fn known(&self, host: &str) -> bool {
        let Some(name) = without_port(host) else { return false };
        self.hosts.iter().any(|known| known.eq_ignore_ascii_case(name))
            || self.any_address && name.parse::<IpAddr>().is_ok()
    }

    /// Accepts the token as a bearer token (RFC 6750) or as any user's password (RFC 7617), which every browser can ask for. The comparison
    /// time does not reveal how much of the token is right.
    fn token_fits(&self, headers: &HeaderMap) -> bool {
        let Some(token) = &self.token else { return true };
        let given = only(headers, &header::AUTHORIZATION).and_then(given_token).unwrap_or_default();
        let given: [u8; 32] = Sha256::digest(&given).into();
        given.ct_eq(token).into()
    }
}

/// The value of a header that occurs exactly once and is text.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    let mut all = headers.get_all(name).iter();
    all.next().filter(|_| all.next().is_none())?.to_str().ok()
}

fn given_token(authorization: &str) -> Option<Vec<u8>> {
    let (scheme, rest) = authorization.split_once(' ')?;
    if scheme.eq_ignore_ascii_case("bearer") {
        return Some(rest.trim().as_bytes().to_vec());
    }
    let both = STANDARD.decode(rest.trim()).ok().filter(|_| scheme.eq_ignore_ascii_case("basic"))?;
    let colon = both.iter().position(|b| *b == b':')?;
    Some(both[colon + 1..].to_vec())
}

/// The host in `name`, `name:port`, `[address]` or `[address]:port`. `None` for anything else.
fn without_port(host: &str) -> Option<&str> {
    let port = |port: &str| !port.is_empty() && port.len() <= 5 && port.bytes().all(|b| b.is_ascii_digit());
    if let Some(rest) = host.strip_prefix('[') {
        let (name, after) = rest.split_once(']')?;
        return (after.is_empty() || after.strip_prefix(':').is_some_and(port)).then_some(name);
    }
    match host.split_once(':') {
        None => Some(host),
        Some((name, number)) => port(number).then_some(name),
    }
    .filter(|name| !name.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::Request;

    fn asked(guard: &Guard, method: &str, uri: &str, headers: &[(&str, &str)]) -> u16 {
        let mut request = Request::builder().method(method).uri(uri);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        guard.check(&request.body(()).unwrap().into_parts().0).map_or_else(|refusal| refusal.status.as_u16(), |()| 200)
    }

    fn here() -> Guard {
        Guard::new("127.0.0.1".parse().unwrap(), None, &[]).unwrap()
    }

    #[test]
    fn only_names_of_this_machine_are_answered() {
        for host in ["localhost", "LOCALHOST:8470", "127.0.0.1:1", "[::1]:8470", "[::1]"] {
            assert_eq!(asked(&here(), "GET", "/", &[("host", host)]), 200, "{host}");
        }
        for host in [
            "evil.test",
            "127.0.0.1.evil.test",
            "localhost.evil.test:80",
            "127.0.0.1:80:80",
            "localhost:x",
            "",
            "192.168.1.7",
        ] {
            assert_ne!(asked(&here(), "GET", "/", &[("host", host)]), 200, "{host}");
        }
        assert_eq!(asked(&here(), "GET", "/", &[]), 400);
        assert_eq!(asked(&here(), "GET", "/", &[("host", "localhost"), ("host", "evil.test")]), 400);
        assert_eq!(asked(&here(), "GET", "http://evil.test/", &[("host", "localhost")]), 403);
    }

    #[test]
    fn other_sites_pages_are_refused() {
        let with = |name, value| asked(&here(), "GET", "/", &[("host", "localhost:8470"), (name, value)]);
        for (name, value) in
            [("sec-fetch-site", "same-origin"), ("sec-fetch-site", "none"), ("origin", "http://localhost:8470")]
        {
            assert_eq!(with(name, value), 200, "{value}");
        }
        for (name, value) in [
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-site"),
            ("sec-fetch-site", ""),
            ("origin", "null"),
            ("origin", "http://evil.test"),
            ("origin", "http://localhost:8471"),
            ("origin", "https://localhost:8470"),
        ] {
            assert_eq!(with(name, value), 403, "{name}: {value}");
        }
        for method in ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"] {
            assert_eq!(asked(&here(), method, "/", &[("host", "localhost")]), 405, "{method}");
        }
        assert_eq!(with("content-length", "1"), 413);
        assert_eq!(with("transfer-encoding", "chunked"), 413);
        assert_eq!(asked(&here(), "GET", &format!("/?bike={}", "x".repeat(5000)), &[("host", "localhost")]), 414);
    }

    #[test]
    fn bound_elsewhere_it_wants_the_token() {
        const TOKEN: &str = "0123456789abcdef0123456789abcdef";
        let address: IpAddr = "192.168.1.7".parse().unwrap();
        assert!(Guard::new(address, None, &[]).is_err());
        assert!(Guard::new(address, Some("short"), &[]).is_err());
        assert!(Guard::new(address, Some(&" ".repeat(30)), &[]).is_err());
        let guard = Guard::new(address, Some(TOKEN), &["bench.shop.test".to_owned()]).unwrap();
        let with = |host, given: &str| asked(&guard, "GET", "/", &[("host", host), ("authorization", given)]);
        let basic = |both: &str| format!("Basic {}", STANDARD.encode(both));
        assert_eq!(asked(&guard, "GET", "/", &[("host", "192.168.1.7:8470")]), 401);
        for good in [format!("Bearer {TOKEN}"), basic(&format!("anybody:{TOKEN}")), basic(&format!(":{TOKEN}"))] {
            assert_eq!(with("192.168.1.7:8470", &good), 200, "{good}");
            assert_eq!(with("bench.shop.test", &good), 200);
            assert_eq!(with("evil.test", &good), 403);
        }
        for bad in [
            "",
            "Bearer",
            "Bearer ",
            TOKEN,
            &format!("Bearer {}", &TOKEN[1..]),
            "Basic ???",
            &basic(TOKEN),
            &basic("x:y"),
        ] {
            assert_eq!(with("192.168.1.7", bad), 401, "{bad}");
        }
    }
}
