//! The port of the page, and the door for second devices: an address and a key of its own.

use super::guard::Guard;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::sync::Arc;
use warpwise::fault::{Fault, Faults};

/// The port that is tried first.
pub const PORT: u16 = 9137;

/// Name of its cookie: cookies are not told apart by port.
const COOKIE: &str = "warpwise_second";

/// The door for second devices.
#[derive(Debug)]
pub struct Door {
    /// The address to open there, with its key.
    pub link: String,
    /// Who may pass.
    pub guard: Arc<Guard>,
}

/// Opens the door on this computer's address in its network.
///
/// # Errors
/// It is in no network, or no port can be had.
pub fn open(address: Option<IpAddr>) -> Result<(TcpListener, Door), Faults> {
    let ip = address.or_else(own_address).ok_or_else(|| {
        Fault::new(
            "this computer is in no network, so that no second device can reach it",
            "join one, or name the address: --on-network=192.0.2.7",
        )
    })?;
    let bind = |port: u16| TcpListener::bind(SocketAddr::new(ip, port));
    let listener = bind(PORT + 1).or_else(|_| bind(0)).map_err(|e| {
        Fault::new(
            said!("no second device can be let in at {ip}: {e}"),
            "name an address that this computer has: --on-network=192.0.2.7",
        )
    })?;
    let trouble =
        |e: std::io::Error| Fault::new(said!("the page cannot be set up: {e}"), "try again");
    listener.set_nonblocking(true).map_err(trouble)?;
    let host = listener.local_addr().map_err(trouble)?.to_string();
    let guard = Guard::of(vec![host.clone()], COOKIE).map_err(trouble)?;
    let link = format!("http://{host}/?key={}", guard.key());
    Ok((listener, Door { link, guard: Arc::new(guard) }))
}

/// The address from which this computer would speak to others. Nothing is sent for it.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address kept for documents: nobody has it.
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    let ip = socket.local_addr().ok()?.ip();
    (!ip.is_unspecified()).then_some(ip)
}
