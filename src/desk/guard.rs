//! Who may speak to the desk: the browser that was given its key, and no other page in it.

use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use std::sync::Mutex;

/// What a page of ours may do: load what this server has, and nothing else.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self' data:; \
                      connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The key of a desk, and where it listens.
pub struct Guard {
    port: u16,
    /// Opens the page once.
    key: Mutex<Option<String>>,
    /// What the browser shows afterwards.
    pass: String,
}

/// 32 random bytes, as text.
fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

impl Guard {
    /// # Errors
    /// Where the system gives no random numbers.
    pub fn new(port: u16) -> Result<Guard, getrandom::Error> {
        Ok(Guard { port, key: Mutex::new(Some(secret()?)), pass: secret()? })
    }

    /// The address that opens the page, once.
    pub fn address(&self) -> String {
        let key = self.key.lock().expect("nobody panics with it").clone().unwrap_or_default();
        format!("http://127.0.0.1:{}/?key={key}", self.port)
    }

    fn cookie(&self) -> String {
        // Cookies are not told apart by port.
        format!("obelus-{}", self.port)
    }

    /// Whether the host is this machine, by a name that no other server can have.
    fn is_host(&self, host: &str) -> bool {
        ["127.0.0.1", "localhost", "[::1]"].iter().any(|name| host == format!("{name}:{}", self.port))
    }

    fn is_origin(&self, origin: &str) -> bool {
        origin.strip_prefix("http://").is_some_and(|host| self.is_host(host))
    }

    fn has_pass(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie();
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut own = cookies
            .flat_map(|all| all.split(';'))
            .filter_map(|one| one.trim().split_once('='))
            .filter(|(key, _)| *key == name);
        own.any(|(_, value)| is_same(value, &self.pass))
    }

    /// Uses the key up, where it is the right one.
    fn opens(&self, query: Option<&str>) -> bool {
        let Some(given) = query.and_then(|q| q.split('&').find_map(|pair| pair.strip_prefix("key="))) else {
            return false;
        };
        let mut key = self.key.lock().expect("nobody panics with it");
        let fits = key.as_deref().is_some_and(|key| is_same(given, key));
        if fits {
            *key = None;
        }
        fits
    }
}

/// Takes as long whatever is different.
fn is_same(one: &str, other: &str) -> bool {
    one.len() == other.len() && one.bytes().zip(other.bytes()).fold(0, |all, (a, b)| all | (a ^ b)) == 0
}

/// Lets a request through, or answers it.
pub async fn guard(State(guard): State<std::sync::Arc<Guard>>, request: Request, next: Next) -> Response {
    let mut answer = match refusal(&guard, &request) {
        Some(refusal) => refusal,
        None => next.run(request).await,
    };
    let headers = answer.headers_mut();
    let all = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    for (name, value) in all {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

fn refusal(guard: &Guard, request: &Request) -> Option<Response> {
    let headers = request.headers();
    let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let no = |why: &'static str| Some((StatusCode::FORBIDDEN, why).into_response());
    // A name that leads here from outside is not ours.
    if !text(header::HOST).is_some_and(|host| guard.is_host(host)) {
        return no("This desk answers to the address that the program printed, only.");
    }
    let site = text(HeaderName::from_static("sec-fetch-site"));
    let is_reading = matches!(*request.method(), Method::GET | Method::HEAD);
    if !is_reading && !text(header::ORIGIN).is_some_and(|origin| guard.is_origin(origin)) {
        return no("Only the desk's own page may change anything.");
    }
    if guard.has_pass(headers) {
        // An address with a key that is used up leads to the page all the same.
        let is_again = request.uri().path() == "/" && request.uri().query().is_some();
        // No other page may load anything from here; a user may open it from anywhere.
        let is_foreign = site.is_some_and(|site| !matches!(site, "same-origin" | "none"));
        return match is_again {
            true => Some(Redirect::to("/").into_response()),
            false if is_foreign && request.uri().path() != "/" => no("Only the desk's own page may read this."),
            false => None,
        };
    }
    if request.uri().path() == "/" && is_reading && guard.opens(request.uri().query()) {
        let pass = format!("{}={}; HttpOnly; SameSite=Strict; Path=/", guard.cookie(), guard.pass);
        return Some(([(header::SET_COOKIE, pass)], Redirect::to("/")).into_response());
    }
    no(
        "This desk is opened by the address that the program printed; it works once, in one browser. Start obelus desk again for a new one.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::Body;

    fn asked(guard: &Guard, method: &str, path: &str, headers: &[(&str, &str)]) -> Option<u16> {
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        refusal(guard, &request.body(Body::empty()).unwrap()).map(|answer| answer.status().as_u16())
    }

    #[test]
    fn the_key_opens_once_and_the_pass_after_it() {
        let guard = Guard::new(4000).unwrap();
        let host = ("host", "127.0.0.1:4000");
        let key = guard.address().split_once("/?").unwrap().1.to_string();
        assert_eq!(asked(&guard, "GET", "/", &[host]), Some(403));
        assert_eq!(asked(&guard, "GET", &format!("/state?{key}"), &[host]), Some(403));
        assert_eq!(asked(&guard, "GET", "/?key=", &[host]), Some(403));
        assert_eq!(asked(&guard, "GET", &format!("/?{key}"), &[host]), Some(303));
        assert_eq!(asked(&guard, "GET", &format!("/?{key}"), &[host]), Some(403));
        let cookie = format!("a=b; obelus-4000={}", guard.pass);
        assert_eq!(asked(&guard, "GET", "/state", &[host, ("cookie", &cookie)]), None);
        assert_eq!(asked(&guard, "GET", &format!("/?{key}"), &[host, ("cookie", &cookie)]), Some(303));
        let wrong = format!("obelus-4000={}", "0".repeat(64));
        assert_eq!(asked(&guard, "GET", "/state", &[host, ("cookie", &wrong)]), Some(403));
        assert!(guard.pass.len() == 64 && key.len() == 68);
    }

    #[test]
    fn other_hosts_origins_and_pages_are_refused() {
        let guard = Guard::new(4000).unwrap();
        let cookie = format!("obelus-4000={}", guard.pass);
        let with = |method: &str, more: &[(&str, &str)]| {
            let all = [&[("cookie", cookie.as_str())], more].concat();
            asked(&guard, method, "/change", &all)
        };
        let (host, origin) = (("host", "localhost:4000"), ("origin", "http://localhost:4000"));
        assert_eq!(with("POST", &[host, origin]), None);
        assert_eq!(with("POST", &[host]), Some(403));
        assert_eq!(with("GET", &[]), Some(403));
        for strange in
            ["evil.example:4000", "127.0.0.1", "127.0.0.1:4001", "localhost:4000.evil.example", "0.0.0.0:4000"]
        {
            assert_eq!(with("POST", &[("host", strange), origin]), Some(403), "{strange}");
        }
        for strange in [
            "http://evil.example",
            "null",
            "https://localhost:4000",
            "http://localhost:4001",
            "http://localhost:4000.evil.example",
        ] {
            assert_eq!(with("POST", &[host, ("origin", strange)]), Some(403), "{strange}");
        }
        assert_eq!(with("GET", &[host, ("sec-fetch-site", "cross-site")]), Some(403));
        assert_eq!(with("GET", &[host, ("sec-fetch-site", "same-site")]), Some(403));
        assert_eq!(with("GET", &[host, ("sec-fetch-site", "same-origin")]), None);
    }
}
