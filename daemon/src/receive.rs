//! Receive: the socket, its buffer, and the only place where live input may be dropped.
//!
//! Stamps every datagram with its arrival and makes ticks, so that time enters the data here and
//! nowhere else. Does not look inside a datagram; the gate that it asks does where there is a key.

use std::net::UdpSocket;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use bytes::{Bytes, BytesMut};
use crossbeam_channel::{Receiver, Sender, TrySendError};
use protocol::screen::ReceiveBuffer;

use crate::clock::Clock;
use crate::gate::{Gate, TurnedAway};
use crate::recent::{Came, Recent};
use crate::seat::Seat;

/// A tick at least this often; also how long a stop may take to be seen.
const TICK: Duration = Duration::from_millis(100);

/// Memory is taken so much at a time: datagrams are received into it one after another, and it is free again when
/// the last of them is gone. Who keeps a single one keeps all of it, so it is not made larger.
const CHUNK_BYTES: usize = 64 * 1024;

/// What comes out of the receiver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Arrival {
    /// A datagram as it came.
    Datagram {
        /// Arrival, nanoseconds on the daemon's monotonic clock.
        received_ns: u64,
        /// The bytes; one more than the format allows when the datagram was longer.
        bytes: Bytes,
    },
    /// Time has passed.
    Tick {
        /// Nanoseconds on the daemon's monotonic clock.
        now_ns: u64,
    },
}

/// What the queues of the bay carry.
#[derive(Debug, Clone)]
pub enum Fed {
    /// Something came, or time passed.
    Arrival(Arrival),
    /// From here on another seat.
    Seat(Arc<Seat>),
}

/// Counters that the receiver shares with health.
#[derive(Debug, Default)]
pub struct Dropped {
    /// Datagrams that found the analysis' queue full.
    pub analysis: AtomicU64,
    /// Datagrams that found the recording's queue full.
    pub recording: AtomicU64,
    /// What waits in the recording's queue, as of the last tick.
    pub waiting: AtomicU64,
    /// Datagrams that the gate turned away.
    pub turned_away: TurnedAway,
}

/// Asks for a receive buffer; forced past the kernel's limit where this process may. What was
/// granted is reported as the kernel counts it, without its own bookkeeping's share.
///
/// # Errors
/// When the socket refuses to be asked.
pub fn size_buffer(socket: &UdpSocket, asked: u32) -> std::io::Result<ReceiveBuffer> {
    let reference = socket2::SockRef::from(socket);
    let size = asked as usize;
    if !force_buffer(socket, size) {
        reference.set_recv_buffer_size(size)?;
    }
    // Linux reports double of what it granted: the other half is its bookkeeping.
    let share = if cfg!(target_os = "linux") { 2 } else { 1 };
    Ok(ReceiveBuffer {
        asked: u64::from(asked),
        granted: (reference.recv_buffer_size()? / share) as u64,
    })
}

#[cfg(target_os = "linux")]
fn force_buffer(socket: &UdpSocket, size: usize) -> bool {
    nix::sys::socket::setsockopt(socket, nix::sys::socket::sockopt::RcvBufForce, &size).is_ok()
}

#[cfg(not(target_os = "linux"))]
fn force_buffer(_socket: &UdpSocket, _size: usize) -> bool {
    false
}

/// Where arrivals go.
#[derive(Debug)]
pub struct Outlets {
    /// To the analysis; full: dropped, counted.
    pub analysis: Sender<Fed>,
    /// To the recording, if there is one; full: dropped, counted, recording incomplete.
    pub recording: Option<Sender<Fed>>,
    /// The last minute, where a calibration may be taken from it.
    pub recent: Option<Arc<Recent>>,
}

impl Outlets {
    /// Hands a seat on to both or, when one of them is full, to none: this thread is the only one that
    /// fills them, so there is room for what is asked for here.
    fn seat(&self, seat: &Arc<Seat>) -> bool {
        let queues = || std::iter::once(&self.analysis).chain(&self.recording);
        if queues().any(Sender::is_full) {
            return false;
        }
        queues().for_each(|queue| drop(queue.try_send(Fed::Seat(Arc::clone(seat)))));
        true
    }
}

/// Receives until `stop`, then drops the outlets, so that everything downstream ends by itself.
///
/// # Errors
/// When the socket fails for good.
pub fn run(
    (socket, mut gate): (&UdpSocket, Gate),
    clock: Clock,
    (outlets, seats): (&Outlets, &Receiver<Arc<Seat>>),
    dropped: &Dropped,
    stop: &AtomicBool,
) -> std::io::Result<()> {
    socket.set_read_timeout(Some(TICK))?;
    let mut chunk = BytesMut::new();
    let mut tick_due = 0;
    let mut seat = None;
    let mut waiting: Vec<Came> = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        if chunk.len() < gate.bytes_max() {
            chunk = BytesMut::zeroed(CHUNK_BYTES);
        }
        let received = socket.recv_from(&mut chunk[..gate.bytes_max()]);
        let now_ns = clock.now_ns();
        match received {
            Ok((length, from)) => {
                let datagram = &mut chunk[..length];
                if let Some(plain) = gate.admit(from.ip(), datagram, &dropped.turned_away) {
                    let bytes = chunk.split_to(plain).freeze();
                    if outlets.recent.is_some() {
                        waiting.push((now_ns, bytes.clone()));
                    }
                    let received_ns = now_ns;
                    hand_on(Arrival::Datagram { received_ns, bytes }, outlets, dropped);
                }
            }
            Err(e) if passing(&e) => {}
            Err(e) => return Err(e),
        }
        if now_ns >= tick_due {
            tick_due = now_ns + TICK.as_nanos() as u64;
            hand_on(Arrival::Tick { now_ns }, outlets, dropped);
            if let Some(recent) = &outlets.recent {
                recent.offer(&mut waiting);
            }
            let waiting = outlets.recording.as_ref().map_or(0, Sender::len);
            dropped.waiting.store(waiting as u64, Ordering::Relaxed);
            seat = seat
                .or_else(|| seats.try_recv().ok())
                .filter(|next| !outlets.seat(next));
        }
    }
    Ok(())
}

/// Errors after which the socket goes on: the timeout, a signal, a neighbor's closed port.
fn passing(error: &std::io::Error) -> bool {
    use std::io::ErrorKind::{
        ConnectionRefused, ConnectionReset, Interrupted, TimedOut, WouldBlock,
    };
    matches!(
        error.kind(),
        WouldBlock | TimedOut | Interrupted | ConnectionRefused | ConnectionReset
    )
}

/// What the analysis admitted goes to the recording too, so that a replay sees the same.
fn hand_on(arrival: Arrival, outlets: &Outlets, dropped: &Dropped) {
    let copy = outlets
        .recording
        .as_ref()
        .map(|recording| (recording, arrival.clone()));
    if offer(&outlets.analysis, arrival, &dropped.analysis)
        && let Some((recording, copy)) = copy
    {
        offer(recording, copy, &dropped.recording);
    }
}

/// Whether the queue took it. A tick that finds no room is not missed: the next one comes.
fn offer(queue: &Sender<Fed>, arrival: Arrival, dropped: &AtomicU64) -> bool {
    let datagram = matches!(arrival, Arrival::Datagram { .. });
    let refused = queue.try_send(Fed::Arrival(arrival));
    // A closed queue means that the other side has ended: shutdown is under way.
    if datagram && matches!(refused, Err(TrySendError::Full(_))) {
        dropped.fetch_add(1, Ordering::Relaxed);
    }
    refused.is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_queue_drops_and_counts_and_a_stop_ends_the_loop() {
        let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
        let to = socket.local_addr().unwrap();
        let (analysis, arrivals) = crossbeam_channel::bounded(2);
        let dropped = Dropped::default();
        let stop = AtomicBool::new(false);
        std::thread::scope(|scope| {
            let outlets = Outlets {
                analysis,
                recording: None,
                recent: None,
            };
            let (socket, dropped, stop) = (&socket, &dropped, &stop);
            let receiving = scope.spawn(move || {
                let seats = crossbeam_channel::never();
                let socket = (socket, Gate::default());
                run(socket, Clock::start(), (&outlets, &seats), dropped, stop)
            });
            let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
            (0..20).for_each(|i| assert_eq!(sender.send_to(&[i], to).unwrap(), 1));
            while dropped.analysis.load(Ordering::Relaxed) < 17 {
                std::thread::yield_now();
            }
            stop.store(true, Ordering::Relaxed);
            receiving.join().unwrap().unwrap();
        });
        assert_eq!(arrivals.iter().count(), 2);
    }

    #[test]
    fn the_granted_buffer_is_reported_in_the_terms_of_the_question() {
        let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
        let buffer = size_buffer(&socket, 100_000).unwrap();
        assert_eq!((buffer.asked, buffer.granted), (100_000, 100_000));
    }
}
