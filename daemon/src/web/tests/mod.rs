//! The server as a stranger meets it: real sockets on loopback.

mod http;
mod openapi;
mod rig;
mod screens;
