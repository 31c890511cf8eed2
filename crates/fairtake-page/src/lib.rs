//! The work page: plan, takes, compare, listen, write up, in the browser and on one shootout folder.
//!
//! [`app`] is the whole of it as a router and needs no socket; [`serve`] puts it on one. A page is made in two steps: a
//! `view` holds everything that it shows, computed here and serialised as its JSON twin; `html` writes it down. What is
//! changed goes into the log of the folder, value by value; there is no other state.

mod ask;
mod blind;
mod change;
mod cut;
mod desk;
mod events;
mod guard;
mod html;
mod measured;
mod route;
mod serve;
mod sound;
mod take_in;
mod trouble;
mod views;
mod web;
mod written;

pub use blind::{Audience, Door, Hall, Limits, audience, open_audience};
pub use desk::Desk;
pub use guard::Access;
pub use route::app;
pub use serve::{Served, serve};
