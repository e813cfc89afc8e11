//! HTTP and WebSocket for screens and scripts: the static files, the API under `/api/v1`, the
//! socket at `/ws`. What is sent comes from the hub; nothing here measures or keeps anything.

mod api;
mod gauges;
mod guard;
mod problem;
mod server;
mod socket;
mod statics;
#[cfg(test)]
mod tests;

use std::net::SocketAddr;

use thiserror::Error;

use crate::errors::Code;

pub use server::{Site, serve};
pub use statics::Statics;

/// The address reaches beyond this machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "http.listen is {0}, which other machines could reach: there is no access control yet, so use \
     127.0.0.1:{port} (or [::1]:{port}) and, for a screen elsewhere, a tunnel such as \
     `ssh -L {port}:127.0.0.1:{port}`", port = .0.port()
)]
pub struct NotLoopback(pub SocketAddr);

impl NotLoopback {
    /// The stable code.
    #[must_use]
    pub fn code(&self) -> Code {
        Code::HttpNotLoopback
    }
}

/// HTTP stays on this machine until access control exists.
///
/// # Errors
/// When other machines could reach the address.
pub fn require_loopback(address: SocketAddr) -> Result<(), NotLoopback> {
    let ip = address.ip().to_canonical();
    ip.is_loopback().then_some(()).ok_or(NotLoopback(address))
}
