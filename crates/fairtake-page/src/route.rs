//! Which address does what.

use crate::ask::Query;
use crate::blind::{BlindPage, TestPage, listener_routes, owner_routes};
use crate::desk::Desk;
use crate::trouble::Trouble;
use crate::views::{
    BridgePage, ComparePage, ListenPage, MeasurePage, PlanPage, TakesPage, View, WriteUpPage,
};
use crate::{change, cut, events, guard, html, measured, sound, take_in, views, web, written};
use axum::Json;
use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware;
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::Render;

/// The work page on a desk.
pub fn app(desk: Desk) -> Router {
    Router::new()
        .route("/", get(home))
        .route("/plan", get(page::<PlanPage>))
        .route("/plan.json", get(twin::<PlanPage>))
        .route("/takes", get(page::<TakesPage>))
        .route("/takes.json", get(twin::<TakesPage>))
        .route("/compare", get(page::<ComparePage>))
        .route("/compare.json", get(twin::<ComparePage>))
        .route("/bridge", get(page::<BridgePage>))
        .route("/bridge.json", get(twin::<BridgePage>))
        .route("/bridge/file", get(views::bridge_file))
        .route("/listen", get(page::<ListenPage>))
        .route("/listen.json", get(twin::<ListenPage>))
        .route("/measure", get(page::<MeasurePage>))
        .route("/measure.json", get(twin::<MeasurePage>))
        .route("/write-up", get(page::<WriteUpPage>))
        .route("/write-up.json", get(twin::<WriteUpPage>))
        .route("/findings.json", get(views::findings))
        .route("/others", get(views::all_others))
        .route("/figure", get(views::figure))
        .route("/evidence", get(views::evidence))
        .route("/wave.json", get(views::wave))
        .route("/report.html", get(views::report))
        .route("/write-up/report", post(views::export))
        .route("/write-up/sizes", post(written::sizes))
        .route("/write-up/everything", post(written::everything))
        .route("/written/{*path}", get(written::file))
        .route("/listen/clip", get(sound::one))
        .route("/listen/difference", get(sound::left))
        .route("/listen/imposed", get(sound::with_difference))
        .route("/listen/corrected", get(sound::with_correction))
        .route("/log", post(change::log))
        .route("/mics", post(change::mic))
        .route("/sources", post(change::source))
        .route("/takes/assign", post(change::assign))
        .route("/measure/assign", post(measured::assign))
        .route("/takes/parts", post(cut::parts))
        .route("/takes/cut", post(cut::cut))
        .route("/takes/files", post(take_in::take_in).layer(DefaultBodyLimit::disable()))
        .route("/blind", get(page::<BlindPage>))
        .route("/blind.json", get(twin::<BlindPage>))
        .route("/blind/test", get(page::<TestPage>))
        .route("/blind/test.json", get(twin::<TestPage>))
        .merge(owner_routes())
        .route("/links/end", post(end_links))
        .route("/events", get(events::events))
        .route("/web/{name}", get(web::file))
        .fallback(nothing)
        .with_state(desk.clone())
        .merge(listener_routes(desk.hall().clone()))
        .layer(middleware::from_fn_with_state(desk, guard::guard))
}

/// The work begins where the folder stands: with the plan while nothing is recorded.
async fn home(State(desk): State<Desk>) -> Response {
    let begun = blocking(move || Ok(!desk.folder().log()?.takes.is_empty())).await;
    Redirect::to(if begun.unwrap_or(true) { "/takes" } else { "/plan" }).into_response()
}

/// A page, or only its main part where a script asks for that.
async fn page<V: View>(
    State(desk): State<Desk>,
    query: Result<Query<V::Query>, Trouble>,
    headers: HeaderMap,
) -> Response {
    let part = headers.contains_key("x-part");
    let news = desk.latest();
    let made = blocking(move || {
        let Query(query) = query?;
        let frame = views::Frame::of(&desk, V::STEP);
        let view = V::make(&desk, query)?;
        Ok(if part { html::main(&frame, &view) } else { html::page(&frame, &view) })
    })
    .await;
    match made {
        Ok(markup) => Html(markup.render().into_string()).into_response(),
        Err(trouble) if part => trouble.into_response(),
        Err(trouble) => trouble.page(news),
    }
}

/// An address that leads nowhere.
async fn nothing(State(desk): State<Desk>) -> Response {
    Trouble::missing("there is no such page").page(desk.latest())
}

/// Everything that a page shows, as data.
async fn twin<V: View>(State(desk): State<Desk>, Query(query): Query<V::Query>) -> Result<Json<V>, Trouble> {
    blocking(move || V::make(&desk, query)).await.map(Json)
}

/// Ends every link that was given out. Only the machine itself may: a guest has no say in who else comes.
async fn end_links(State(desk): State<Desk>, request: axum::extract::Request) -> Response {
    use axum::extract::ConnectInfo;
    use std::net::SocketAddr;
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
    if !peer.is_some_and(|c| c.0.ip().to_canonical().is_loopback()) {
        let hint = "go to the machine that serves the page";
        return Trouble::new(StatusCode::FORBIDDEN, "links are ended at the machine itself", hint)
            .into_response();
    }
    desk.access().end_links();
    desk.tell();
    StatusCode::NO_CONTENT.into_response()
}

/// Work on files and numbers, off the threads that answer.
pub(crate) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| {
        Err(Trouble::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the program failed at this; the log and the takes are as they were",
            "try again; if it fails again, please report it with what you did",
        ))
    })
}
