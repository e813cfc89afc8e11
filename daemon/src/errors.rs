//! Stable codes for everything that can go wrong: the same word in an API problem, a log line, a
//! finding on the screen and, as a number, the exit code. A code once released keeps its meaning;
//! the text beside it may get better. How an error is shown is for others.
//!
//! Exit codes: 0 done, 1 a fault of the program, 2 wrong use (command line, configuration, marker
//! map), 3 a file that cannot be used, 4 the machine or network does not allow it.

use std::fmt;

/// What a command returns to the shell, by kind of error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Exit {
    Fault = 1,
    Usage = 2,
    File = 3,
    Machine = 4,
}

/// Makes the enum and its tables from one list, so that none can miss an entry.
macro_rules! codes {
    ($($variant:ident = $text:literal, $exit:ident, $meaning:literal;)*) => {
        /// A stable error code. The order is no promise, the words are.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code { $(#[doc = $meaning] $variant,)* }

        impl Code {
            /// Every code.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The word that logs, the API and findings carry.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $text,)* }
            }

            /// One line: what the code means, whatever the case at hand.
            #[must_use]
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $meaning,)* }
            }

            fn exit(self) -> Exit {
                match self { $(Self::$variant => Exit::$exit,)* }
            }
        }
    };
}

codes! {
    ConfigUnreadable = "config.unreadable", Usage, "The configuration file cannot be read.";
    ConfigSyntax = "config.syntax", Usage, "The configuration file is not valid TOML.";
    ConfigVersion = "config.version", Usage, "The configuration has no version or one that this program does not know.";
    ConfigUnknownKey = "config.unknown_key", Usage, "The configuration has a key that does not exist.";
    ConfigValue = "config.value", Usage, "A value of the configuration makes no sense.";

    MapUnknown = "map.unknown", Usage, "There is no marker map of this name.";
    MapInvalid = "map.invalid", Usage, "The marker map has a mistake.";
    MapLabelUnknown = "map.label_unknown", Usage, "The sender has labels that the marker map does not know.";
    MapLabelAbsent = "map.label_absent", Usage, "The marker map has labels that the sender does not send.";
    MapSpaceUnknown = "map.space_unknown", Usage, "Neither sender nor marker map says the unit or the axes.";
    MapSpaceDisagrees = "map.space_disagrees", Usage, "Sender and marker map disagree about the axes.";

    TapUnheard = "tap.unheard", Usage, "The sync tap gave no verdict.";

    ContextInvalid = "context.invalid", Usage, "The context file has a mistake.";
    TrialUnusable = "trial.unusable", File, "A calibration trial gives no calibration.";

    FileUnreadable = "file.unreadable", File, "A file cannot be opened or read.";
    FileUnwritable = "file.unwritable", File, "A file cannot be created or written.";
    C3dMalformed = "c3d.malformed", File, "A C3D file is damaged or not C3D.";
    RecordingMalformed = "recording.malformed", File, "A file is no recording of Whin.";
    RecordingVersion = "recording.version", File, "A recording was written by a newer program.";

    ArchiveAbsent = "archive.absent", File, "There is no archive in this folder.";
    ArchiveVersion = "archive.version", File, "An archive was made by a newer program.";
    ArchiveStore = "archive.store", File, "The tables of an archive cannot be read or written.";
    ArchiveUnknown = "archive.unknown", Usage, "The archive has no student, session or swing of this name.";
    ArchiveUnfitting = "archive.unfitting", Usage, "What is asked of the archive does not go together.";
    ArchiveDamaged = "archive.damaged", File, "Something in an archive is missing or damaged.";
    ArchiveStopped = "archive.stopped", Machine, "Recording into the archive stopped because its disk failed; it is tried again.";
    ConsentMissing = "consent.missing", Usage, "A student has not consented, or a guardian of one has not.";
    DiskLow = "disk.low", Machine, "The archive's disk will soon be full.";
    DiskFull = "disk.full", Machine, "The archive's disk is full: recording stopped before it harms what is there.";
    SwingUnarchived = "swing.unarchived", Machine, "A swing was measured and shown but is not in the archive.";

    PortTaken = "port.taken", Machine, "Another program uses the port.";
    PortDenied = "port.denied", Machine, "The address cannot be listened on.";
    UdpBufferSmall = "udp.buffer_small", Machine, "The kernel granted a smaller receive buffer than asked for.";
    UdpGarbage = "udp.garbage", Machine, "Datagrams came that are not Whin's.";
    UdpWrongVersion = "udp.wrong_version", Machine, "Datagrams of another major version came.";
    UdpUnknownKind = "udp.unknown_kind", Machine, "Datagrams of an unknown kind came and were skipped.";
    UdpSourceRefused = "udp.source_refused", Machine, "Datagrams came from an address that is not on the list.";
    UdpUnkeyed = "udp.unkeyed", Machine, "Datagrams without a tag came to a bay with a key.";
    UdpForged = "udp.forged", Machine, "Datagrams came whose tag is not of the bay's key.";
    UdpStale = "udp.stale", Machine, "Keyed datagrams came whose date is not now.";
    UdpReplayed = "udp.replayed", Machine, "Keyed datagrams came a second time.";
    UdpMalformed = "udp.malformed", Machine, "Datagrams came that are damaged.";
    StreamUndescribed = "stream.undescribed", Machine, "A stream sends frames but has not said what they carry.";
    StreamLost = "stream.lost", Machine, "Datagrams of a stream were lost.";
    StreamLate = "stream.late", Machine, "Datagrams of a stream came after their place was given up.";
    StreamDoubled = "stream.doubled", Machine, "Many datagrams of a stream came twice.";
    StreamPaused = "stream.paused", Machine, "A sender stood still for a while.";
    StreamSilent = "stream.silent", Machine, "A stream has ended while others go on.";
    StreamRestarted = "stream.restarted", Machine, "A sender began anew.";
    StreamsFull = "stream.refused", Machine, "More streams came than a bay takes.";
    RecordingIncomplete = "recording.incomplete", Machine, "Datagrams are missing in a recording because the disk could not keep up.";
    AnalysisHangs = "analysis.hangs", Fault, "The analysis has worked nothing off for half a minute: the program ends, to be started anew.";
    SwingFailed = "swing.failed", Fault, "The analysis of one swing failed; the bay went on.";
    SwingUnrefined = "swing.unrefined", Machine, "A swing stays without uncertainties: too many waited, or a draw failed.";
    ReportUnpublished = "report.unpublished", Machine, "A report found the way to the screens full.";
    PipelineDropped = "pipeline.dropped", Machine, "Datagrams were dropped because the analysis could not keep up.";

    HttpNotLoopback = "http.not_loopback", Usage, "HTTP was asked to listen beyond this machine, and no passphrase is set.";
    HttpHostRefused = "http.host_refused", Usage, "A request named a host that is not this machine.";
    SocketOriginRefused = "socket.origin_refused", Usage, "A page of another site tried to open the socket.";
    HttpOversize = "http.oversize", Usage, "The body of a request is too long.";
    HttpSlow = "http.slow", Usage, "The body of a request did not come in time.";
    HttpConnectionsFull = "http.connections_full", Machine, "A connection was closed because one source, or all together, had too many.";
    SocketsFull = "socket.full", Machine, "As many screens as allowed are connected.";
    ApiBadRequest = "api.bad_request", Usage, "The request cannot be understood.";
    ApiNotFound = "api.not_found", Usage, "The API has no such path.";
    ApiMethod = "api.method_not_allowed", Usage, "The path does not take this method.";
    BayNotFound = "bay.not_found", Usage, "There is no bay of this name.";
    SwingNotFound = "swing.not_found", Usage, "There is no swing of this identifier in memory.";
    ReplayNotFound = "replay.not_found", Usage, "The swing has no replay in memory.";

    AccessNeeded = "access.needed", Usage, "Log in first.";
    AccessDenied = "access.denied", Usage, "This role may not do that.";
    AccessWrong = "access.wrong", Usage, "The passphrase or the pairing code is wrong.";
    AccessThrottled = "access.throttled", Usage, "Too many attempts: wait.";
    AccessWeak = "access.weak", Usage, "The passphrase cannot be used.";
    AccessUnknown = "access.unknown", Usage, "There is no display of this name.";
    AccessUnusable = "access.unusable", File, "The file with passphrases or sessions cannot be used.";
    KeyUnusable = "key.unusable", File, "The key file cannot be used.";
    TlsUnusable = "tls.unusable", File, "The certificate cannot be used.";

    CommandValue = "command.value", Usage, "A value of the command line makes no sense.";
    NobodyListens = "send.nobody_listens", Machine, "Datagrams were sent but nobody was there to take them.";
    TakeUnsendable = "take.unsendable", File, "A take does not fit the datagram format.";
    SwingMissed = "swing.missed", Usage, "A fast pass of the club head gave no swing.";
    PlateOdd = "plate.odd", Machine, "A force plate is described or reads as no plate should.";
    RigDisagrees = "rig.disagrees", Machine, "Force plates and the last swing's motion disagree as a fault of the rig would have it.";
    ClockSet = "clock.set", Machine, "A sender's clock was set while it ran.";
    StreamStrange = "stream.strange", Machine, "Datagrams of a stream fit no order: two senders with one stream id, or damaged headers.";

    Internal = "internal", Fault, "The program has a fault; please report it.";
}

impl Code {
    /// What a command that fails for this reason returns to the shell; never 0.
    #[must_use]
    pub fn exit_code(self) -> u8 {
        self.exit() as u8
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// An error that carries its code: what a command refuses by itself.
#[derive(Debug, thiserror::Error)]
#[error("{message}")]
pub struct Wrong {
    /// Stable code.
    pub code: Code,
    /// What is wrong and what to do.
    pub message: String,
}

/// Ends a function with a [`Wrong`] of this code and text.
macro_rules! wrong {
    ($code:expr, $($text:tt)*) => {
        return Err($crate::errors::Wrong { code: $code, message: format!($($text)*) }.into())
    };
}
pub(crate) use wrong;

/// Whether a command only ended because nobody reads its output any more (a closed pipe).
#[must_use]
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    let kind = error
        .chain()
        .find_map(|c| c.downcast_ref::<std::io::Error>())
        .map(std::io::Error::kind);
    kind == Some(std::io::ErrorKind::BrokenPipe)
}

/// The exit code of a command that ended with this error: that of its code where it carries one,
/// otherwise by what kind of thing failed.
#[must_use]
pub fn exit_code(error: &anyhow::Error) -> u8 {
    let code = error.chain().find_map(code_of);
    code.map_or(Exit::Fault as u8, Code::exit_code)
}

fn code_of(cause: &(dyn std::error::Error + 'static)) -> Option<Code> {
    use std::io::ErrorKind;
    if let Some(e) = cause.downcast_ref::<Wrong>() {
        return Some(e.code);
    }
    if let Some(e) = cause.downcast_ref::<crate::config::ConfigError>() {
        return Some(e.code);
    }
    if let Some(e) = cause.downcast_ref::<crate::recording::RecordingError>() {
        return Some(e.code());
    }
    if let Some(e) = cause.downcast_ref::<crate::access::AccessError>() {
        return Some(e.code());
    }
    if let Some(e) = cause.downcast_ref::<crate::archive::ArchiveError>() {
        return Some(e.code());
    }
    if let Some(e) = cause.downcast_ref::<crate::map::MapError>() {
        let unknown = matches!(e, crate::map::MapError::Unknown(_));
        return Some(if unknown {
            Code::MapUnknown
        } else {
            Code::MapInvalid
        });
    }
    if cause.is::<protocol::c3d::ReadError>() {
        return Some(Code::C3dMalformed);
    }
    cause
        .downcast_ref::<std::io::Error>()
        .map(|e| match e.kind() {
            ErrorKind::AddrInUse => Code::PortTaken,
            ErrorKind::AddrNotAvailable => Code::PortDenied,
            _ => Code::FileUnreadable,
        })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn words_are_unique_and_of_one_shape() {
        let words: BTreeSet<_> = Code::ALL.iter().map(|c| c.as_str()).collect();
        assert_eq!(words.len(), Code::ALL.len());
        for word in words {
            let allowed =
                |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || "._".contains(c);
            assert!(word.chars().all(allowed), "{word}");
            assert!(word == "internal" || word.split('.').count() == 2, "{word}");
        }
    }

    #[test]
    fn every_code_fails_and_says_why_in_one_line() {
        for code in Code::ALL {
            assert_ne!(code.exit_code(), 0, "{code}");
            let meaning = code.meaning();
            assert!(meaning.ends_with('.') && !meaning.contains('\n'), "{code}");
        }
    }
}
