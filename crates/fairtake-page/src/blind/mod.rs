//! Blind listening: the hall holds tests and sittings under way; a listener's addresses and the owner's stand beside it.
//!
//! Until the last answer nothing that leaves here but the sound depends on which microphone plays: every presentation is
//! rendered anew with its own dither, as long as every other, under a name that says nothing.

mod door;
mod form_html;
mod hall;
mod limits;
mod listener;
mod listener_html;
mod make;
mod offered;
mod owner;
mod owner_html;
mod slow;
mod sound;

pub use door::Door;
pub use hall::Hall;
pub use limits::Limits;
pub use listener::audience;
pub use slow::{Audience, open_audience};

pub(crate) use listener::routes as listener_routes;
pub(crate) use owner::{BlindPage, TestPage, heard, routes as owner_routes};
