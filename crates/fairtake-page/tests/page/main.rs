//! What the work page promises to whoever runs it, and to nobody else. No socket: requests are put to the router.

mod blind;
mod bridge;
mod desk;
mod folder;
mod guard;
mod hostile;
mod links;
mod measured;
mod paths;
mod twins;
mod uploads;
mod written;
