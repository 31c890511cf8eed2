//! A hall on a socket. Connections are limited, and a head that does not come in time ends its connection.

use super::door::Door;
use super::hall::Hall;
use super::limits::Limits;
use super::listener::audience;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

/// A hall that is ready for its audience.
pub struct Audience {
    address: SocketAddr,
    listener: TcpListener,
    hall: Hall,
    door: Door,
    runtime: tokio::runtime::Runtime,
}

/// Makes the tests of a folder ready at an address; `shown_as` is the name under which a proxy shows them.
///
/// # Errors
/// In words, where the address cannot be had or the name is none.
pub fn open_audience(
    folder: &Path,
    address: SocketAddr,
    shown_as: Option<&str>,
    limits: Limits,
) -> Result<Audience, String> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| e.to_string())?;
    let listener = runtime
        .block_on(TcpListener::bind(address))
        .map_err(|e| format!("cannot be served at {address}: {e}"))?;
    let address = listener.local_addr().map_err(|e| e.to_string())?;
    let door = Door::new(address, shown_as)?;
    Ok(Audience { address, listener, hall: Hall::new(folder, limits), door, runtime })
}

impl Audience {
    /// Where it answers.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves until the program ends.
    ///
    /// # Errors
    /// When the network fails.
    pub fn run(self) -> std::io::Result<()> {
        let Audience { listener, hall, door, runtime, .. } = self;
        runtime.block_on(serve(listener, hall, door))
    }
}

async fn serve(listener: TcpListener, hall: Hall, door: Door) -> std::io::Result<()> {
    let limits = *hall.limits();
    let places = Arc::new(Semaphore::new(limits.connections));
    let service = TowerToHyperService::new(audience(hall, door));
    loop {
        let place = places.clone().acquire_owned().await.map_err(std::io::Error::other)?;
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            // Too many open files, or a client that went: others come.
            Err(_) => {
                tokio::time::sleep(std::time::Duration::from_millis(20)).await;
                continue;
            }
        };
        let service = service.clone();
        tokio::spawn(async move {
            let _place = place;
            // What was written goes at once; an error here costs a delay only.
            let _ = stream.set_nodelay(true);
            // Ends with an error where the client goes or is too slow: nobody is left to be told.
            let _ = hyper::server::conn::http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(limits.head_time)
                .serve_connection(TokioIo::new(stream), service)
                .await;
        });
    }
}
