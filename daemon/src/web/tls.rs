//! TLS: the certificate that is told, or one of our own that is made once and kept; its fingerprint for people
//! to compare.

use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;

use anyhow::Context as _;
use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use sha2::{Digest as _, Sha256};
use tokio_rustls::TlsAcceptor;

use crate::config::Config;
use crate::errors::{Code, wrong};
use crate::private;

/// What TLS needs.
#[derive(Clone)]
pub struct Tls {
    pub(super) acceptor: TlsAcceptor,
    /// SHA-256 of the certificate as browsers show it.
    pub fingerprint: String,
}

/// TLS as a configuration asks for it.
///
/// # Errors
/// When a file cannot be used or no certificate can be made.
pub fn tls(config: &Config) -> anyhow::Result<Tls> {
    let http = &config.http;
    let text = match (&http.certificate, &http.key) {
        (Some(certificate), Some(key)) => {
            let read = |path: &Path| {
                std::fs::read_to_string(path)
                    .with_context(|| format!("cannot read {}", path.display()))
            };
            // A key that others may read is no secret.
            let key = private::read(key)
                .with_context(|| format!("cannot use the key {}", key.display()))?;
            format!("{}\n{key}", read(certificate)?)
        }
        (None, None) => {
            let Some(beside) = config.access_file() else {
                wrong!(
                    Code::TlsUnusable,
                    "no place for a certificate: set `file` under [access]"
                );
            };
            own(&beside.with_extension("pem"), config)?
        }
        _ => wrong!(
            Code::TlsUnusable,
            "http.certificate and http.key belong together: set both or none"
        ),
    };
    of_pem(&text)
}

/// Our own certificate with its key, made when there is none yet.
fn own(path: &Path, config: &Config) -> anyhow::Result<String> {
    match private::read(path) {
        Err(why) if why.kind() == ErrorKind::NotFound => {}
        read => return read.with_context(|| format!("cannot use {}", path.display())),
    }
    let listen = config.http.listen.ip();
    let mut names: Vec<String> = config.http.names.clone();
    names.extend(["localhost", "127.0.0.1", "::1"].map(String::from));
    if !listen.is_unspecified() {
        names.push(listen.to_canonical().to_string());
    }
    names.sort();
    names.dedup();
    let made = rcgen::generate_simple_self_signed(names)?;
    let text = format!("{}{}", made.cert.pem(), made.signing_key.serialize_pem());
    private::write(path, &text).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(text)
}

fn of_pem(text: &str) -> anyhow::Result<Tls> {
    let unusable = |what: &str| crate::errors::Wrong {
        code: Code::TlsUnusable,
        message: format!("the certificate's PEM {what}"),
    };
    let chain = CertificateDer::pem_slice_iter(text.as_bytes());
    let chain: Vec<_> = chain
        .collect::<Result<_, _>>()
        .map_err(|_e| unusable("is damaged"))?;
    let first = chain
        .first()
        .ok_or_else(|| unusable("has no certificate"))?;
    let fingerprint = Sha256::digest(first).map(|byte| format!("{byte:02X}"));
    let fingerprint = fingerprint.join(":");
    let key = PrivateKeyDer::from_pem_slice(text.as_bytes());
    let key = key.map_err(|_e| unusable("has no private key"))?;
    let builder = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()));
    let mut server = builder
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .map_err(|why| unusable(&format!("does not go together: {why}")))?;
    server.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Tls {
        acceptor: TlsAcceptor::from(Arc::new(server)),
        fingerprint,
    })
}
