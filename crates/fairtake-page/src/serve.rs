//! The page on a socket.

use crate::desk::Desk;
use crate::guard::Access;
use crate::{events, route};
use fairtake_files::FolderError;
use qrcode::render::unicode::Dense1x2;
use std::fmt;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use tokio::net::TcpListener;

/// Bytes of a token: nobody guesses 128 bits.
const TOKEN_BYTES: usize = 16;

/// A page that is ready to be opened.
pub struct Served {
    /// For this machine.
    pub link: String,
    /// For a tablet in the same room, with its token; `None` where only this machine is served.
    pub shared_link: Option<String>,
    /// The shared link as a picture to be photographed, in block characters: two rows of it in each line, what is dark in
    /// the colour of the letters.
    pub code: Option<String>,
    desk: Desk,
    listeners: Vec<TcpListener>,
    runtime: Arc<tokio::runtime::Runtime>,
}

/// Why the page cannot be served.
#[derive(Debug)]
pub enum ServeError {
    /// The folder.
    Folder(FolderError),
    /// The network.
    Address {
        /// Which address.
        address: SocketAddr,
        /// The system's words.
        what: String,
    },
}

impl fmt::Display for ServeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ServeError::Folder(e) => e.fmt(f),
            ServeError::Address { address, what } => write!(f, "cannot be served at {address}: {what}"),
        }
    }
}

impl std::error::Error for ServeError {}

impl ServeError {
    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            ServeError::Folder(e) => e.hint(),
            ServeError::Address { .. } => {
                "choose another --port, or with --on an address that this machine has in the room's network"
            }
        }
    }
}

/// Makes the page ready at a port of this machine (0: any that is free) and, where asked, at an address of the room.
///
/// # Errors
/// When the folder has no log, or an address cannot be had.
pub fn serve(folder: &Path, on: Option<IpAddr>, port: u16) -> Result<Served, ServeError> {
    let system =
        |address: SocketAddr, e: std::io::Error| ServeError::Address { address, what: e.to_string() };
    let here = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| system(here, e))?;
    let local = runtime.block_on(TcpListener::bind(here)).map_err(|e| system(here, e))?;
    let port = local.local_addr().map_err(|e| system(here, e))?.port();
    let mut listeners = vec![local];
    let (mut shared_link, mut code) = (None, None);
    let access = match on {
        None => Access::loopback(port),
        Some(ip) => {
            let address = SocketAddr::new(ip, port);
            if let Some(what) = no_address_of_a_room(ip) {
                return Err(ServeError::Address { address, what: what.into() });
            }
            listeners.push(runtime.block_on(TcpListener::bind(address)).map_err(|e| system(address, e))?);
            let token = token().map_err(|what| ServeError::Address { address, what })?;
            let link = format!("http://{address}/?link={token}");
            code = drawn(&link);
            shared_link = Some(link);
            Access::shared(ip, port, token)
        }
    };
    let desk = Desk::open(folder, access).map_err(ServeError::Folder)?;
    let link = format!("http://127.0.0.1:{port}/");
    Ok(Served { link, shared_link, code, desk, listeners, runtime: Arc::new(runtime) })
}

impl Served {
    /// A handle with which links can be ended from another thread.
    pub fn desk(&self) -> Desk {
        self.desk.clone()
    }

    /// Serves until the program ends.
    ///
    /// # Errors
    /// When the network fails.
    pub fn run(self) -> std::io::Result<()> {
        let (desk, listeners) = (self.desk, self.listeners);
        self.runtime.block_on(async move {
            tokio::spawn(events::watch(desk.clone()));
            let mut served = tokio::task::JoinSet::new();
            for listener in listeners {
                let app = route::app(desk.clone()).into_make_service_with_connect_info::<SocketAddr>();
                served.spawn(async move { axum::serve(listener, app).await });
            }
            while let Some(ended) = served.join_next().await {
                ended.map_err(std::io::Error::other)??;
            }
            Ok(())
        })
    }
}

/// Why nobody else in the room would reach the page there.
fn no_address_of_a_room(ip: IpAddr) -> Option<&'static str> {
    if ip.is_loopback() {
        Some("only this machine itself reaches that address, and it is served without --on")
    } else if ip.is_unspecified() || ip.is_multicast() {
        Some("that is no address of one machine")
    } else {
        None
    }
}

/// A link as a picture to be photographed.
fn drawn(link: &str) -> Option<String> {
    let code = qrcode::QrCode::new(link).ok()?;
    Some(code.render::<Dense1x2>().module_dimensions(1, 1).quiet_zone(true).build())
}

/// A token that nobody guesses.
fn token() -> Result<String, String> {
    let mut bytes = [0u8; TOKEN_BYTES];
    getrandom::fill(&mut bytes).map_err(|e| format!("the system gives no random numbers: {e}"))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a camera sees: `side` pixels for each module, dark ones black.
    fn photographed(code: &str, side: usize) -> (usize, usize, Vec<bool>) {
        let half = |line: &str, upper: bool| -> Vec<bool> {
            line.chars().map(|c| c == '█' || c == if upper { '▀' } else { '▄' }).collect()
        };
        let rows: Vec<Vec<bool>> =
            code.lines().flat_map(|line| [half(line, true), half(line, false)]).collect();
        let (width, height) = (rows[0].len() * side, rows.len() * side);
        let pixels = (0..width * height).map(|i| rows[i / width / side][i % width / side]).collect();
        (width, height, pixels)
    }

    #[test]
    fn the_drawn_code_leads_to_the_link() {
        for address in ["192.0.2.2:49152", "[2001:db8:1234:5678:9abc:def0:1234:5678]:49152"] {
            let link = format!("http://{address}/?link={}", token().expect("random"));
            let code = drawn(&link).expect("fits");
            let (width, height, pixels) = photographed(&code, 4);
            let mut seen = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| {
                if pixels[y * width + x] { 0 } else { 255 }
            });
            let found = seen.detect_grids();
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].decode().expect("is read").1, link);
            // Narrow enough for a terminal.
            assert!(code.lines().all(|line| line.chars().count() <= 80), "{code}");
        }
    }

    #[test]
    fn tokens_are_long_and_never_the_same() {
        let tokens: std::collections::HashSet<String> = (0..1000).map(|_| token().expect("random")).collect();
        assert_eq!(tokens.len(), 1000);
        assert!(
            tokens.iter().all(|t| t.len() == 2 * TOKEN_BYTES && t.bytes().all(|b| b.is_ascii_hexdigit()))
        );
    }

    #[test]
    fn an_address_that_nobody_else_reaches_is_refused_in_words() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        fairtake_files::ShootoutFolder::create(folder.path(), "boathouse").expect("made");
        for address in ["127.0.0.1", "127.0.0.2", "::1", "0.0.0.0", "::", "224.0.0.1", "203.0.113.1"] {
            let ip: IpAddr = address.parse().expect("an address");
            let refused = serve(folder.path(), Some(ip), 0).err().unwrap_or_else(|| panic!("{address}"));
            assert!(refused.to_string().starts_with("cannot be served at "), "{refused}");
            assert!(refused.hint().contains("--on"));
        }
    }
}
