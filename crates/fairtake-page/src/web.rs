//! Style and scripts, as they lie in `web/`, inside the program.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// Name, kind and content of each.
const FILES: [(&str, &str, &str); 17] = [
    ("report.css", STYLE, fairtake_report::page::STYLE),
    ("page.css", STYLE, include_str!("../web/page.css")),
    ("page.js", SCRIPT, include_str!("../web/page.js")),
    ("say.js", SCRIPT, include_str!("../web/say.js")),
    ("press.js", SCRIPT, include_str!("../web/press.js")),
    ("redraw.js", SCRIPT, include_str!("../web/redraw.js")),
    ("save.js", SCRIPT, include_str!("../web/save.js")),
    ("takes.js", SCRIPT, include_str!("../web/takes.js")),
    ("measure.js", SCRIPT, include_str!("../web/measure.js")),
    ("cut.js", SCRIPT, include_str!("../web/cut.js")),
    ("compare.js", SCRIPT, include_str!("../web/compare.js")),
    ("listen.js", SCRIPT, include_str!("../web/listen.js")),
    ("sitting.css", STYLE, include_str!("../web/sitting.css")),
    ("sitting.js", SCRIPT, include_str!("../web/sitting.js")),
    ("blind.js", SCRIPT, include_str!("../web/blind.js")),
    ("write-up.js", SCRIPT, include_str!("../web/write-up.js")),
    ("audition.js", SCRIPT, include_str!("../web/audition.js")),
];

/// `GET /web/NAME`.
pub(crate) async fn file(Path(name): Path<String>) -> Response {
    match FILES.iter().find(|(n, ..)| *n == name) {
        Some((_, kind, content)) => ([(header::CONTENT_TYPE, *kind)], *content).into_response(),
        None => (StatusCode::NOT_FOUND, "there is no such file").into_response(),
    }
}
