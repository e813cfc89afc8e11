//! HTTP and WebSocket for screens and scripts: the static files, the API under `/api/v1`, the
//! socket at `/ws`. What is sent comes from the hub; nothing here measures or keeps anything.

mod accept;
mod api;
mod gauges;
mod guard;
mod problem;
mod server;
mod socket;
mod statics;
mod tls;
#[cfg(test)]
mod tests;

pub use server::{Served, Site, serve};
pub use statics::Statics;
pub use tls::{Tls, tls};
