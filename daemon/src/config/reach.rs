//! How the bay is reached: where datagrams and screens come in, who may, and where passphrases are.

use std::net::SocketAddr;
use std::ops::Range;
use std::path::PathBuf;

use serde::Deserialize;

use super::{Network, optional, quoted, within};

/// Receive buffers that make sense, bytes: a burst of a second at most.
const RECEIVE_BUFFER_BYTES: Range<u32> = 65_536..1_073_741_825;

/// Where datagrams come in.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Udp {
    /// Address and port of the socket.
    pub listen: SocketAddr,
    /// Receive buffer to ask the kernel for, bytes.
    #[serde(deserialize_with = "receive_buffer")]
    pub receive_buffer_bytes: u32,
    /// Who may send; empty: everybody who reaches the socket.
    pub allow: Vec<Network>,
    /// File with the key that senders share; without one datagrams are not keyed.
    pub key_file: Option<PathBuf>,
}

/// Where screens come in.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Http {
    /// Address and port of the server.
    pub listen: SocketAddr,
    /// Names by which browsers reach this computer, beside its addresses.
    #[serde(deserialize_with = "host_names")]
    pub names: Vec<String>,
    /// Who does TLS.
    pub tls: Tls,
    /// Certificate chain, PEM; without one a certificate is made.
    pub certificate: Option<PathBuf>,
    /// Its private key, PEM.
    pub key: Option<PathBuf>,
}

/// Who does TLS.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Tls {
    /// Whin, where others than this machine can connect.
    #[default]
    Auto,
    /// Whin, on this machine too.
    Always,
    /// A proxy in front of Whin, which speaks plain HTTP then.
    Proxy,
}

/// Where passphrases are kept.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Access {
    /// The file; without one `access.toml` in the archive's folder.
    pub file: Option<PathBuf>,
}

impl Default for Udp {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from(([127, 0, 0, 1], 47_800)),
            receive_buffer_bytes: 8 * 1024 * 1024,
            allow: Vec::new(),
            key_file: None,
        }
    }
}

impl Default for Http {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from(([127, 0, 0, 1], 8080)),
            names: Vec::new(),
            tls: Tls::Auto,
            certificate: None,
            key: None,
        }
    }
}

impl Tls {
    fn word(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Always => "always",
            Self::Proxy => "proxy",
        }
    }
}

/// Their part of a configuration file.
pub(super) fn to_toml(udp: &Udp, http: &Http, access: &Access) -> String {
    format!(
        "\
[udp]
# Where the capture systems send their datagrams.
listen = \"{udp_listen}\"
# Asked of the kernel; what it grants is reported.
receive_buffer_bytes = {receive_buffer}
# Who may send, such as [\"192.0.2.0/24\"]; empty: everybody who reaches the socket.
allow = {allow}
# Key that the senders share (`whin access new-key FILE`); without it datagrams are not keyed.
{key_file}

[http]
# Where the screens connect. Beyond this machine only with a coach's passphrase
# (`whin access set-passphrase`), and by TLS.
listen = \"{http_listen}\"
# Names by which browsers reach this computer, beside its addresses, such as [\"bay.example\"].
names = {names}
# \"auto\": TLS where other machines can connect. \"always\": on this machine too. \"proxy\": a proxy in front does
# TLS, and Whin speaks plain HTTP to it: listen on 127.0.0.1 then, and let the proxy pass the Host header on.
# Everybody has to log in but on 127.0.0.1 with \"auto\" and no names.
tls = \"{tls}\"
# Certificate chain and private key, PEM; without them Whin makes its own beside the passphrases and prints
# the fingerprint.
{certificate}
{key}

[access]
# Passphrases, as Argon2id hashes; sessions, log and certificate lie beside. Without it access.toml in the
# archive's folder.
{access_file}
",
        udp_listen = udp.listen,
        receive_buffer = udp.receive_buffer_bytes,
        allow = list(udp.allow.iter().map(Network::to_string)),
        key_file = optional("key_file", udp.key_file.as_deref(), "udp.key"),
        names = list(http.names.iter().cloned()),
        tls = http.tls.word(),
        certificate = optional("certificate", http.certificate.as_deref(), "bay.crt"),
        key = optional("key", http.key.as_deref(), "bay.key"),
        access_file = optional("file", access.file.as_deref(), "access.toml"),
        http_listen = http.listen,
    )
}

fn receive_buffer<'de, D: serde::Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    within(u32::deserialize(from)?, &RECEIVE_BUFFER_BYTES)
}

/// Names as a `Host` header has them: no port, path or pattern.
fn host_names<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Vec<String>, D::Error> {
    let names = Vec::<String>::deserialize(from)?;
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-.".contains(c);
    let good = |name: &String| (1..254).contains(&name.len()) && name.chars().all(allowed);
    let odd = names.iter().find(|name| !good(name)).cloned();
    let wrong = |odd| {
        format!("`{odd}` is no name of a computer: write it like bay.example, without a port")
    };
    odd.map_or(Ok(names), |odd| Err(serde::de::Error::custom(wrong(odd))))
}

fn list(words: impl Iterator<Item = String>) -> String {
    let words: Vec<_> = words.map(|w| quoted(&w)).collect();
    format!("[{}]", words.join(", "))
}
