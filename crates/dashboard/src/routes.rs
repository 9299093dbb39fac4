//! The routes: the page, the view, the stream of views, and the one way to act. Every request passes the guard first.
//! Keeps no state of its own and sets no CORS header anywhere.

use std::fmt::Write as _;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, timeout};

use crate::act::{ActRequest, ParseError, parse};
use crate::config::Limits;
use crate::events::{self, StreamSlot};
use crate::guard::{AllowedHosts, Refusal, RequestHeaders};
use crate::page::{ICON, Page};
use crate::relay::Stamped;
use crate::slots::{Slot, Slots};

/// What the handlers share.
pub(crate) struct App {
    pub(crate) allowed: AllowedHosts,
    pub(crate) limits: Limits,
    pub(crate) page: Page,
    pub(crate) views: watch::Receiver<Stamped>,
    pub(crate) route: watch::Receiver<Arc<str>>,
    pub(crate) actions: mpsc::Sender<ActRequest>,
    pub(crate) streams: Arc<Slots>,
    pub(crate) started: Instant,
}

type Shared = State<Arc<App>>;

/// The routes with the guard and the common headers around them.
pub(crate) fn router(app: Arc<App>) -> Router {
    let icon = || async { ([(header::CONTENT_TYPE, "image/svg+xml")], ICON) };
    Router::new()
        .route("/", get(page))
        .route("/icon.svg", get(icon))
        .route("/view", get(view))
        .route("/route", get(route))
        .route("/events", get(stream))
        .route("/act", post(act))
        .fallback(|| async { sentence(StatusCode::NOT_FOUND, "There is nothing here; the page is at /.") })
        .layer(from_fn_with_state(Arc::clone(&app), guarded))
        .with_state(app)
}

fn sentence(status: StatusCode, text: impl Into<String>) -> Response {
    let kind = [(header::CONTENT_TYPE, "text/plain; charset=utf-8")];
    (status, kind, format!("{}\n", text.into())).into_response()
}

fn refused(status: StatusCode, why: impl Into<String>) -> Response {
    let body = serde_json::json!({ "ok": false, "why": why.into() }).to_string();
    (status, [(header::CONTENT_TYPE, "application/json")], body).into_response()
}

async fn guarded(State(app): Shared, request: Request, next: Next) -> Response {
    let mut response = match admit(&app, &request) {
        Ok(()) => next.run(request).await,
        Err(refusal) => turned_away(&app, refusal),
    };
    let policy = HeaderValue::try_from(app.page.policy.as_str())
        .unwrap_or_else(|_| HeaderValue::from_static("default-src 'none'"));
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, policy);
    for (name, value) in [
        ("cache-control", "no-store"),
        ("x-content-type-options", "nosniff"),
        ("x-frame-options", "DENY"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    response
}

fn admit(app: &App, request: &Request) -> Result<(), Refusal> {
    let headers = request.headers();
    let all = |name: &str| headers.get_all(name).iter().map(HeaderValue::as_bytes).collect();
    let is =
        |name: &str, value: &str| headers.get(name).is_some_and(|have| have.as_bytes() == value.as_bytes());
    let opens_page = request.method() == Method::GET
        && request.uri().path() == "/"
        && is("sec-fetch-mode", "navigate")
        && is("sec-fetch-dest", "document");
    app.allowed.admit(&RequestHeaders {
        target: request.uri().authority().map(|authority| authority.as_str().as_bytes()),
        hosts: all("host"),
        origins: all("origin"),
        fetch_sites: all("sec-fetch-site"),
        opens_page,
        changes_state: !matches!(*request.method(), Method::GET | Method::HEAD),
    })
}

fn turned_away(app: &App, refusal: Refusal) -> Response {
    match refusal {
        Refusal::Malformed(why) => sentence(StatusCode::BAD_REQUEST, format!("Refused: {why}.")),
        Refusal::CrossOrigin(why) => sentence(
            StatusCode::FORBIDDEN,
            format!("Refused: {why}. Open the dashboard's own page and act there."),
        ),
        Refusal::NotListed => {
            let mut text =
                "This address is not one that the dashboard answers to. It answers to:\n".to_owned();
            for authority in app.allowed.list() {
                let _ = writeln!(text, "  http://{authority}/");
            }
            text.push_str("To add another name, list it in the dashboard's allowed hosts and start again.");
            sentence(StatusCode::MISDIRECTED_REQUEST, text)
        }
    }
}

async fn page(State(app): Shared) -> Response {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], app.page.html.clone()).into_response()
}

async fn view(State(app): Shared) -> Response {
    let (text, age) = {
        let stamped = app.views.borrow();
        (stamped.text.to_string(), stamped.renewed.elapsed().as_millis())
    };
    let headers = [("content-type", "application/json".to_owned()), ("x-view-age-ms", age.to_string())];
    (headers, text).into_response()
}

/// The route as a list; asked for by a page that shows it, when the view says that it has changed.
async fn route(State(app): Shared) -> Response {
    let text = app.route.borrow().to_string();
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

async fn stream(State(app): Shared, request: Request) -> Response {
    let connection = request.extensions().get::<Arc<Slot>>().cloned();
    let slot = StreamSlot { stream: app.streams.take(), connection };
    let events = events::stream(app.views.clone(), app.started, app.limits.beat, slot);
    ([(header::CONTENT_TYPE, "text/event-stream")], Body::from_stream(events)).into_response()
}

async fn act(State(app): Shared, headers: HeaderMap, body: Body) -> Response {
    let is =
        |name: &str, value: &str| headers.get(name).is_some_and(|have| have.as_bytes() == value.as_bytes());
    let json =
        is("content-type", "application/json") || is("content-type", "application/json; charset=utf-8");
    if !is("x-cliplead", "1") || !json {
        return refused(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "an action needs the headers X-Cliplead: 1 and Content-Type: application/json",
        );
    }
    let body = match read_body(body, &app.limits).await {
        Ok(body) => body,
        Err(response) => return response,
    };
    match parse(&body) {
        Ok(parsed) => hand_on(&app, parsed).await,
        Err(ParseError::Form(why)) => refused(StatusCode::BAD_REQUEST, why),
        Err(ParseError::Value(why)) => refused(StatusCode::CONFLICT, why),
    }
}

async fn read_body(body: Body, limits: &Limits) -> Result<Bytes, Response> {
    match timeout(limits.body_time, axum::body::to_bytes(body, limits.body_bytes_max)).await {
        Ok(Ok(bytes)) => Ok(bytes),
        Ok(Err(_)) => Err(refused(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("the action is longer than {} bytes or was cut off", limits.body_bytes_max),
        )),
        Err(_) => Err(refused(StatusCode::REQUEST_TIMEOUT, "the action did not arrive whole in time")),
    }
}

async fn hand_on(app: &App, parsed: crate::act::Parsed) -> Response {
    let (reply, answer) = oneshot::channel();
    let asked = ActRequest { act: parsed.act, check: parsed.check, reply };
    match app.actions.try_send(asked) {
        Ok(()) => {}
        Err(TrySendError::Full(_)) => {
            let why = "not taken: other actions still wait; look at the page and press again";
            return refused(StatusCode::SERVICE_UNAVAILABLE, why);
        }
        Err(TrySendError::Closed(_)) => {
            let why = "not taken: the daemon is ending";
            return refused(StatusCode::SERVICE_UNAVAILABLE, why);
        }
    }
    match timeout(app.limits.answer_time, answer).await {
        Ok(Ok(Ok(()))) => ([(header::CONTENT_TYPE, "application/json")], r#"{"ok":true}"#).into_response(),
        Ok(Ok(Err(why))) => refused(StatusCode::CONFLICT, why),
        Ok(Err(_)) | Err(_) => refused(
            StatusCode::GATEWAY_TIMEOUT,
            "the daemon did not answer; look at the page whether it was taken before you press again",
        ),
    }
}

#[cfg(test)]
mod tests;
