//! The web pages over HTTP. The [`Guard`] checks every request before anything else. There are three addresses, all read-only. Values from
//! a request go to the database as bound values, and never to the file system.

use super::guard::{Guard, Refusal};
use super::{Archive, Query, ShopError, pages, prepared::mark_named, visits::compare};
use crate::review;
use axum::Router;
use axum::extract::{Path, Query as Asked, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::future::Future;
use std::io;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

/// Most simultaneous connections. Further ones wait.
const CONNECTIONS: usize = 256;
/// Most bytes in a request's head, and most headers.
const HEAD: usize = 16 << 10;
const HEADERS: usize = 64;
/// Time limits: for a request's head, for the answer, and for the whole connection.
const HEAD_TIME: Duration = Duration::from_secs(5);
const ANSWER_TIME: Duration = Duration::from_secs(15);
const WHOLE_TIME: Duration = Duration::from_secs(30);
/// Most reports built at the same time. Each needs a processor.
const REPORTS: usize = 2;
/// Pause after accepting a connection failed, for example because the system has no file handles left.
const REST: Duration = Duration::from_millis(100);

/// What the server serves.
#[derive(Debug, Clone)]
pub struct Serving {
    archive: Archive,
    guard: Arc<Guard>,
    reports: Arc<Semaphore>,
    policy: HeaderValue,
}

impl Serving {
    /// Serves this archive, open for reading, behind this guard.
    pub fn new(archive: Archive, guard: Guard) -> Serving {
        let policy = format!("{}; frame-ancestors 'none'", review::policy(pages::FORMS));
        // Contains only ASCII letters, digits and punctuation.
        let policy = HeaderValue::from_str(&policy).unwrap_or(HeaderValue::from_static("default-src 'none'"));
        Serving { archive, guard: Arc::new(guard), reports: Arc::new(Semaphore::new(REPORTS)), policy }
    }
}

/// Serves until `stop`.
///
/// # Errors
/// None so far: an error in one connection only ends that connection.
pub async fn serve(listener: TcpListener, serving: Serving, stop: impl Future<Output = ()>) -> io::Result<()> {
    let app = Router::new()
        .route("/", get(list))
        .route("/bike", get(bike))
        .route("/session/{mark}", get(session))
        .fallback(nothing)
        .with_state(serving.clone())
        .layer(from_fn_with_state(serving, guarded));
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    tokio::pin!(stop);
    loop {
        let permit = tokio::select! {
            () = &mut stop => return Ok(()),
            permit = room.clone().acquire_owned() => permit.map_err(io::Error::other)?,
        };
        let stream = tokio::select! {
            () = &mut stop => return Ok(()),
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => stream,
                Err(error) => {
                    tracing::warn!("a connection could not be accepted: {error}");
                    tokio::time::sleep(REST).await;
                    continue;
                }
            },
        };
        let service = TowerToHyperService::new(app.clone());
        tokio::spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_TIME)
                .max_buf_size(HEAD)
                .max_headers(HEADERS)
                .keep_alive(false)
                .serve_connection(TokioIo::new(stream), service);
            // A client that disconnects or is too slow gets no answer.
            let _ = tokio::time::timeout(WHOLE_TIME, connection).await;
            drop(permit);
        });
    }
}

/// Checks the request, and adds the headers to every answer.
async fn guarded(State(serving): State<Serving>, request: Request, next: Next) -> Response {
    let (parts, body) = request.into_parts();
    let mut response = match serving.guard.check(&parts) {
        Err(Refusal { status, why }) => sentence(status, why),
        Ok(()) => match tokio::time::timeout(ANSWER_TIME, next.run(Request::from_parts(parts, body))).await {
            Ok(response) => response,
            Err(_) => sentence(StatusCode::SERVICE_UNAVAILABLE, "That took too long; try again."),
        },
    };
    let unauthorised = response.status() == StatusCode::UNAUTHORIZED;
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, serving.policy);
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if unauthorised {
        headers
            .insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Basic realm=\"probeside\", charset=\"UTF-8\""));
    }
    response
}

type Fields = Result<Asked<Vec<(String, String)>>, axum::extract::rejection::QueryRejection>;

async fn list(State(serving): State<Serving>, fields: Fields) -> Response {
    let Ok(Asked(fields)) = fields else { return sentence(StatusCode::BAD_REQUEST, "The search cannot be read.") };
    let given = || fields.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    match Query::read(given()) {
        Ok(query) => match serving.archive.find(&query).await {
            Ok(found) => page(StatusCode::OK, pages::list(&query, &fields, Ok(&found))),
            Err(error) => failed(&error),
        },
        Err(error) => page(StatusCode::BAD_REQUEST, pages::list(&Query::default(), &fields, Err(&error.to_string()))),
    }
}

async fn bike(State(serving): State<Serving>, fields: Fields) -> Response {
    let Ok(Asked(fields)) = fields else { return sentence(StatusCode::BAD_REQUEST, "The address cannot be read.") };
    let [(name, bike)] = &fields[..] else {
        return sentence(StatusCode::BAD_REQUEST, "The address has to name one bike: /bike?name=...");
    };
    if name != "name" {
        return sentence(StatusCode::BAD_REQUEST, "The address has to name one bike: /bike?name=...");
    }
    match serving.archive.visits(bike).await {
        Ok(visits) if visits.is_empty() => sentence(StatusCode::NOT_FOUND, "The archive has no visit of this bike."),
        Ok(visits) => page(StatusCode::OK, pages::bike(&compare(visits))),
        Err(error) => failed(&error),
    }
}

async fn session(
    State(serving): State<Serving>,
    mark: Result<Path<String>, axum::extract::rejection::PathRejection>,
) -> Response {
    let Some(mark) = mark.ok().and_then(|Path(mark)| mark_named(&mark)) else { return nothing().await };
    let Ok(permit) = serving.reports.clone().acquire_owned().await else { return nothing().await };
    let kept = match serving.archive.kept(mark).await {
        Ok(kept) => kept,
        Err(ShopError::NoSuchSession(_)) => return nothing().await,
        Err(error) => return failed(&error),
    };
    let made = tokio::task::spawn_blocking(move || {
        let made = pages::session(kept);
        drop(permit);
        made
    });
    match made.await {
        Ok(made) => page(StatusCode::OK, made),
        Err(_) => sentence(StatusCode::INTERNAL_SERVER_ERROR, "The report could not be put together."),
    }
}

async fn nothing() -> Response {
    sentence(StatusCode::NOT_FOUND, "There is nothing under this address.")
}

fn page(status: StatusCode, made: Result<String, String>) -> Response {
    match made {
        Ok(page) => (status, Html(page)).into_response(),
        Err(why) => {
            tracing::error!("{why}");
            sentence(StatusCode::INTERNAL_SERVER_ERROR, "The page could not be put together.")
        }
    }
}

/// The database's message stays here, because it may reveal more than the archive.
fn failed(error: &ShopError) -> Response {
    tracing::warn!("{error}");
    sentence(StatusCode::SERVICE_UNAVAILABLE, "The archive does not answer; try again.")
}

fn sentence(status: StatusCode, words: &str) -> Response {
    (status, format!("{words}\n")).into_response()
}
