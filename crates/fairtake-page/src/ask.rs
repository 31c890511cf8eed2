//! What is asked, parsed once at the edge; what cannot be parsed is answered in words like everything else.

use crate::trouble::Trouble;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

/// The part of the address behind the question mark.
pub(crate) struct Query<T>(pub T);

/// What a page sends.
pub(crate) struct Sent<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Query<T> {
    type Rejection = Trouble;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Query<T>, Trouble> {
        let asked = axum::extract::Query::from_request_parts(parts, state).await;
        asked
            .map(|q| Query(q.0))
            .map_err(|e| Trouble::bad(e.body_text(), "go back to the page, and choose what is offered there"))
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Sent<T> {
    type Rejection = Trouble;

    async fn from_request(request: Request, state: &S) -> Result<Sent<T>, Trouble> {
        let sent = axum::Json::from_request(request, state).await;
        sent.map(|sent| Sent(sent.0)).map_err(|e| {
            let hint = match e.status() {
                StatusCode::PAYLOAD_TOO_LARGE => "send less at once",
                _ => "reload the page and try again",
            };
            Trouble::new(e.status(), e.body_text(), hint)
        })
    }
}
