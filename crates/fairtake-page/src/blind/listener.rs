//! A listener's addresses: the start of a test, the sitting, answers, the key after the last.

use super::door::{Door, stand};
use super::hall::{Answered, Hall};
use super::listener_html as html;
use super::sound::sound;
use crate::ask::Sent;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use fairtake_files::Write;
use fairtake_listen::{Answer, Given, Refused};
use maud::Markup;
use serde::Deserialize;
use serde_json::{Value, json};

/// Longest name that a listener may type, in characters.
const MOST_NAME: usize = 80;

/// What a listener may ask for.
pub(crate) fn routes(hall: Hall) -> Router {
    let limits = *hall.limits();
    Router::new()
        .route("/t/{test}", get(start))
        .route("/t/{test}/begin", post(begin))
        .route("/s/{sitting}", get(sitting))
        .route("/s/{sitting}/answer", post(answer))
        .route("/s/{sitting}/leave", post(leave))
        .route("/s/{sitting}/sound/{name}", get(sound))
        .route("/s/{sitting}/key.txt", get(key))
        .layer(middleware::from_fn_with_state(hall.clone(), whole_in_time))
        .layer(DefaultBodyLimit::max(limits.body_bytes))
        .with_state(hall)
}

/// The hall for an audience, with nothing else of the folder.
pub fn audience(hall: Hall, door: Door) -> Router {
    routes(hall)
        .route("/", get(async || Html(html::no_test().into_string())))
        .route("/web/{name}", get(crate::web::file))
        .fallback(async || {
            page(StatusCode::NOT_FOUND, html::trouble(&Trouble::missing("there is no such page")))
        })
        .layer(middleware::from_fn_with_state(door, stand))
}

fn page(status: StatusCode, markup: Markup) -> Response {
    (status, Html(markup.into_string())).into_response()
}

/// A body must come whole, not too long, and in time; whoever sends it drop by drop is answered and let go.
async fn whole_in_time(State(hall): State<Hall>, request: Request, next: Next) -> Response {
    let limits = hall.limits();
    let (parts, body) = request.into_parts();
    let read = axum::body::to_bytes(body, limits.body_bytes);
    match tokio::time::timeout(limits.body_time, read).await {
        Ok(Ok(bytes)) => next.run(Request::from_parts(parts, bytes.into())).await,
        Ok(Err(_)) => {
            let what = format!("more than {} bytes were sent", limits.body_bytes);
            Trouble::new(StatusCode::PAYLOAD_TOO_LARGE, what, "send less at once").into_response()
        }
        Err(_) => {
            let what = "what was sent did not come whole in time";
            Trouble::new(StatusCode::REQUEST_TIMEOUT, what, "try again; nothing was changed").into_response()
        }
    }
}

/// `GET /t/{test}`: what is asked, and the care to take.
async fn start(State(hall): State<Hall>, Path(test): Path<String>) -> Response {
    match blocking(move || hall.test(&test)).await {
        Ok(test) => page(StatusCode::OK, html::start(&test)),
        Err(trouble) => page(trouble.status, html::trouble(&trouble)),
    }
}

/// How a sitting begins.
#[derive(Debug, Deserialize)]
struct Begin {
    #[serde(default)]
    listener: String,
    #[serde(default)]
    code: Option<String>,
}

/// `POST /t/{test}/begin`
async fn begin(
    State(hall): State<Hall>,
    Path(test): Path<String>,
    Sent(asked): Sent<Begin>,
) -> Result<Json<Value>, Trouble> {
    let listener = asked.listener.trim().to_string();
    if listener.chars().count() > MOST_NAME {
        let what = format!("a name of more than {MOST_NAME} characters");
        return Err(Trouble::bad(what, "type a shorter one, or none"));
    }
    let begun = hall.clone();
    let (id, new) = blocking(move || begun.begin(&test, listener, asked.code)).await?;
    hall.write(Write::Sitting(Box::new(new))).await?;
    Ok(Json(json!({ "at": format!("/s/{id}") })))
}

/// `GET /s/{sitting}`: where it stands; only the main part where a script asks for that.
async fn sitting(State(hall): State<Hall>, Path(id): Path<String>, headers: HeaderMap) -> Response {
    let part = headers.contains_key("x-part");
    let made = async {
        hall.may_ask(&id)?;
        let held = hall.live(&id).await?;
        let live = held.lock().await;
        Ok::<_, Trouble>(if part { html::main(&live) } else { html::sitting(&live) })
    };
    match made.await {
        Ok(markup) => page(StatusCode::OK, markup),
        Err(trouble) if part => trouble.into_response(),
        Err(trouble) => page(trouble.status, html::trouble(&trouble)),
    }
}

/// An answer as it is sent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SentAnswer {
    trial: usize,
    given: Given,
    #[serde(default)]
    comment: String,
}

/// `POST /s/{sitting}/answer`: taken once, in order; acknowledged when it is on disk.
async fn answer(
    State(hall): State<Hall>,
    Path(id): Path<String>,
    Sent(sent): Sent<SentAnswer>,
) -> Result<Json<Value>, Trouble> {
    hall.may_ask(&id)?;
    let answer = Answer { given: sent.given, comment: sent.comment.trim().to_string() };
    match hall.answer(&id, sent.trial, answer).await? {
        Answered::Kept => Ok(Json(json!({ "kept": sent.trial }))),
        Answered::Refused(refused) => {
            let (status, hint) = match &refused {
                Refused::Again { .. } | Refused::NotYet { .. } => {
                    (StatusCode::CONFLICT, "go on where the sitting stands")
                }
                Refused::Ended => (StatusCode::GONE, "everything that you answered is kept"),
                Refused::NoAnswer { .. } => (StatusCode::UNPROCESSABLE_ENTITY, "answer what the page asks"),
            };
            Err(Trouble::new(status, refused, hint))
        }
    }
}

/// `POST /s/{sitting}/leave`
async fn leave(State(hall): State<Hall>, Path(id): Path<String>) -> Result<Json<Value>, Trouble> {
    hall.may_ask(&id)?;
    hall.leave(&id).await?;
    Ok(Json(json!({ "left": true })))
}

/// `GET /s/{sitting}/key.txt`: what was sealed, after the last answer.
async fn key(State(hall): State<Hall>, Path(id): Path<String>) -> Result<Response, Trouble> {
    hall.may_ask(&id)?;
    let held = hall.live(&id).await?;
    let live = held.lock().await;
    if live.sitting.awaited().is_some() {
        let what = "the key stays sealed until the last answer";
        return Err(Trouble::new(StatusCode::FORBIDDEN, what, "answer all trials first, or leave"));
    }
    let text = live.sitting.key().text(live.plan());
    Ok(([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], text).into_response())
}
