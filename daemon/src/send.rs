//! A file as UDP at its own pace (or faster): `whin send`. Knows pacing and progress; what the
//! datagrams are is in `feed`.

use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::time::Duration;

use anyhow::Context as _;
use indicatif::{ProgressBar, ProgressStyle};
use protocol::wire::{Key, seal};

use crate::clock::Clock;
use crate::errors::{Code, wrong};
use crate::feed::{self, Due};
use crate::map::MarkerMap;
use crate::offline::read_c3d;
use crate::recording::{self, Recorded};

/// The datagrams of a C3D take or a recording.
///
/// # Errors
/// When the file cannot be used; the message names it.
pub fn datagrams(path: &Path, map: Option<&MarkerMap>, epoch: u32) -> anyhow::Result<Vec<Due>> {
    if is_recording(path) {
        return recorded(path);
    }
    let take = read_c3d(path)?;
    match feed::of_c3d(&take, map, epoch) {
        Ok(due) => Ok(due),
        Err(why) => wrong!(
            Code::TakeUnsendable,
            "{} cannot be sent: {why:#}",
            path.display()
        ),
    }
}

/// Whether a file is a recording by its name; anything else is taken for a C3D take.
#[must_use]
pub fn is_recording(path: &Path) -> bool {
    path.extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("mcap"))
}

/// The datagrams of a recording, due when they arrived.
fn recorded(path: &Path) -> anyhow::Result<Vec<Due>> {
    let entries = recording::read(path)?.filter_map(|entry| match entry {
        Recorded::Datagram { arrival_ns, bytes } => Some(Due {
            time_ns: i64::try_from(arrival_ns).ok()?,
            bytes,
        }),
        Recorded::Tick { .. } => None,
    });
    Ok(entries.collect())
}

/// Sends datagrams to `to`, keyed where there is a key, `pace` times as fast as they were made. Returns how
/// many.
///
/// # Errors
/// When no datagram can be sent at all (no route, no permission).
pub fn send(
    due: &[Due],
    (to, key): (SocketAddr, Option<&Key>),
    pace: f64,
    clock: Clock,
) -> anyhow::Result<u64> {
    let any = if to.is_ipv4() { "0.0.0.0:0" } else { "[::]:0" };
    let socket = UdpSocket::bind(any).context("cannot open a UDP socket")?;
    socket
        .connect(to)
        .with_context(|| format!("cannot send to {to}"))?;
    let bar = ProgressBar::new(due.len() as u64);
    bar.set_style(
        ProgressStyle::with_template("{bar:40} {percent:>3} %  {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let first_ns = due.first().map_or(0, |d| d.time_ns);
    let start_ns = clock.now_ns();
    let mut sent = 0;
    for datagram in due {
        wait_until(
            start_ns + ((datagram.time_ns - first_ns).max(0) as f64 / pace) as u64,
            clock,
        );
        // A receiver that is not there yet answers with an error; it may come later.
        sent += u64::from(match key {
            Some(key) => send_keyed(&socket, &datagram.bytes, key, clock.utc_ns())?,
            None => socket.send(&datagram.bytes).is_ok(),
        });
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(sent)
}

fn send_keyed(socket: &UdpSocket, plain: &[u8], key: &Key, now: u64) -> anyhow::Result<bool> {
    let mut keyed = plain.to_vec();
    seal(&mut keyed, key, now).context("a datagram cannot be keyed")?;
    Ok(socket.send(&keyed).is_ok())
}

fn wait_until(due_ns: u64, clock: Clock) {
    let early_ns = due_ns.saturating_sub(clock.now_ns());
    if early_ns > 0 {
        std::thread::sleep(Duration::from_nanos(early_ns));
    }
}
