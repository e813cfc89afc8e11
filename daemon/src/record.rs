//! Record: one thread that writes what was admitted into a recording. A failed write ends the
//! recording, never the bay.

use crossbeam_channel::Receiver;
use protocol::wire;
use tracing::error;

use crate::errors::Code;
use crate::receive::{Arrival, Fed};
use crate::recording::{Recorder, RecordingError};

/// Writes until the source closes. After a failure it goes on taking, so that nobody waits for it.
pub fn run(mut recorder: Recorder, arrivals: &Receiver<Fed>) {
    for fed in arrivals {
        // Without an archive nobody is chosen.
        let Fed::Arrival(arrival) = fed else { continue };
        if let Err(why) = write(&mut recorder, &arrival) {
            error!(code = %Code::RecordingIncomplete, "recording stopped: {why}");
            // Take what still comes without keeping it: a full queue would only count as loss.
            arrivals.iter().for_each(drop);
            return;
        }
    }
    if let Err(why) = recorder.finish() {
        error!(code = %Code::RecordingIncomplete, "recording not finished: {why}");
    }
}

/// Writes one arrival.
///
/// # Errors
/// When the disk does not take it.
pub(crate) fn write(recorder: &mut Recorder, arrival: &Arrival) -> Result<(), RecordingError> {
    match arrival {
        Arrival::Datagram { received_ns, bytes } => {
            // Bytes that are no datagram are kept too: they arrived. They have no device time.
            let device_ns = wire::open(bytes).map_or(-1, |d| d.header.device_time_ns);
            recorder.push(*received_ns, bytes, device_ns)
        }
        Arrival::Tick { now_ns } => recorder.tick(*now_ns),
    }
}
