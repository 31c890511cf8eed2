//! One file per command.

pub(crate) mod add;
mod analysis;
pub(crate) mod bridge;
pub(crate) mod check;
pub(crate) mod compare;
pub(crate) mod demo;
mod demo_bench;
pub(crate) mod generate;
pub(crate) mod listen;
pub(crate) mod measure;
pub(crate) mod new;
pub(crate) mod open;
pub(crate) mod report;
pub(crate) mod sweep;
pub(crate) mod watch;
pub(crate) mod write_up;
