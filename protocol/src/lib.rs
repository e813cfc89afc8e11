//! What crosses a boundary of Whin: datagrams from the capture systems ([`wire`], specified below),
//! motion files ([`c3d`]), reports ([`report`]) and screen messages ([`screen`]). Types and bytes
//! only: no sockets, files, threads or clocks. Nothing here panics, whatever bytes it is given.
//!
//! # The datagram format, version 1.0
//!
//! Everything that a sender needs is on this page. A *sender* puts what a capture system measures
//! into UDP datagrams; a *receiver* is a Whin bay. There is no handshake and no answer: either side
//! may start first, stop or restart at any time. One program may send several streams.
//!
//! - A datagram is a header of 40 bytes and a body, at most **1,200 bytes** together, so that no
//!   network has to fragment it.
//! - All numbers are little-endian. `u8` … `u64` are unsigned, `i64` is two's complement, `f32` and
//!   `f64` are IEEE 754. Offsets count bytes from the start of the datagram.
//! - Reserved bytes are written as 0 and not looked at by a receiver.
//! - `rate` and all lengths below must be finite numbers. *Where a value may be missing, the text
//!   says how.*
//!
//! ## Header
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 0 | 4 bytes | magic | `57 48 49 4e`, the letters `WHIN` |
//! | 4 | u8 | major version | 1 |
//! | 5 | u8 | minor version | 0 |
//! | 6 | u8 | kind | 1 describe, 2 marker frame, 3 force block, 4 trigger |
//! | 7 | u8 | header length | 40 |
//! | 8 | u32 | stream | any number that no other stream to this bay has. A stream carries one content: markers, forces or a trigger |
//! | 12 | u32 | clock | the clock that device time is read from. Streams share a number exactly if they share the clock |
//! | 16 | u32 | epoch | the same in all datagrams until the sender restarts its sequence or its clock, then a larger one. Unix seconds at the start of the sender serve well |
//! | 20 | u32 | flags | 0. Bit 0 (value 1): keyed, a trailer follows the body (see below); other bits are not looked at |
//! | 24 | u64 | sequence | one more than in the stream's datagram before, whatever the kinds; the first is 0 |
//! | 32 | i64 | device time | nanoseconds on the clock, from any zero: the exposure of a frame, the first sample of a block, the onset of a pulse; for a describe the time of the frame or block that follows (or now) |
//!
//! Sequence, and the frame and sample numbers below, are at most 2⁶²; device time lies within ±2⁶².
//! A datagram may be sent twice unchanged (same sequence): the second copy is dropped.
//!
//! ## Kind 1: describe
//!
//! Says what a stream carries. Sent before the first frame and then **once a second**, so that a
//! receiver that starts later catches up. The *layout* is a number of the sender's choice: within an
//! epoch it stands for exactly one description, and frames and blocks cite it. A sender whose label
//! list, rate, units or plates change uses a new number. A description that does not fit in one
//! datagram is split into parts, each a datagram of its own; every part repeats all fields up to
//! its list.
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 40 | u32 | layout | |
//! | 44 | u8 | part | 0 for the first |
//! | 45 | u8 | parts | 1 to 255 |
//! | 46 | u8 | content | 1 markers, 2 forces, 3 trigger |
//! | 47 | u8 | | reserved |
//!
//! **Content 1 (markers) and 2 (forces)** go on with the rate and the *space* that positions are
//! given in:
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 48 | f64 | rate | frames or samples a second, above 0, at most 100,000 |
//! | 56 | f64 | meters per unit | 0.001 for a source in mm, 1 for m (1e-6 to 1e3); 0: unknown |
//! | 64 | 9 × f64 | axes | rotation **R** from source to bay axes, row by row; all 0: unknown |
//! | 136 | 3 × f64 | origin | the bay's origin as a point of the source, in source units |
//!
//! Bay axes: X along the target line toward the target, Y up, Z = X × Y; origin: the ball on the
//! floor. A source point *p* lies at meters_per_unit · **R** · (*p* − origin) in the bay; **R** has
//! orthonormal rows (to 0.001) and determinant +1. What is unknown to the sender is taken from the
//! marker map that the bay is configured with.
//!
//! Markers go on with their labels:
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 160 | u16 | total | markers in the whole layout, 1 to 512 |
//! | 162 | u16 | first | place of the first label of this part in the layout, from 0 |
//! | 164 | u16 | count | labels in this part, at least 1 |
//! | 166 | u16 | | reserved |
//! | 168 | count × | label | u8 length (1 to 63), then as many bytes of UTF-8 without control characters |
//!
//! Labels are told apart by their bytes and should not repeat.
//!
//! Forces go on with their plates, 208 bytes each:
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 160 | u8 | total | plates in the whole layout, 1 to 8 |
//! | 161 | u8 | first | place of the first plate of this part, from 0 |
//! | 162 | u8 | count | plates in this part, 1 to 4 |
//! | 163 | 5 bytes | | reserved |
//! | 168 + 208·k | u8 | kind | 1 to 4, the FORCE_PLATFORM:TYPE of the C3D standard (table below) |
//! | 169 + 208·k | 3 bytes | | reserved |
//! | 172 + 208·k | 12 × f32 | corners | x y z of the four corners of the top surface in source axes and units, in the plate's quadrants (+x,+y), (−x,+y), (−x,−y), (+x,−y) |
//! | 220 + 208·k | 3 × f32 | origin | plate axes, source units. Kinds 2 and 4: from the sensor's origin to the middle of the top surface. Kind 3: sensor half distances and depth. Kind 1: 0 |
//! | 232 + 208·k | 36 × f32 | matrix | kind 4: six rows of six; other kinds: 0 |
//!
//! Plate axes follow from the corners: x from the middle of corners 2, 3 to that of 1, 4; y from
//! 3, 4 to 1, 2; z = x × y, which for a plate in the floor points down. Forces are those of the
//! plate on the person: someone who stands gives a negative Fz. These are the conventions of the
//! C3D standard; only the units are fixed here. The sender takes off what an unloaded plate reads.
//!
//! | kind | channels a sample, in order | units |
//! |---|---|---|
//! | 1 | Fx Fy Fz, center of pressure x y, free moment Tz | N, m, N·m |
//! | 2 | Fx Fy Fz Mx My Mz | N, N·m |
//! | 3 | Fx12 Fx34 Fy14 Fy23 Fz1 Fz2 Fz3 Fz4 | N |
//! | 4 | six raw channels; matrix · channels = Fx Fy Fz Mx My Mz | any, so that the product is in N, N·m |
//!
//! **Content 3 (trigger)** goes on with:
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 48 | u8 | pulse | 1 sound, 2 switch |
//! | 49 | 7 bytes | | reserved |
//!
//! ## Kind 2: marker frame
//!
//! All markers at one instant. 71 fit in a datagram; a larger set is split into parts of
//! consecutive markers, each a datagram of its own with the same frame number and device time.
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 40 | u64 | frame | one more each frame, also over frames that were not sent |
//! | 48 | u32 | layout | of the description with the labels |
//! | 52 | u16 | first | place of the first marker of this part in the layout |
//! | 54 | u16 | count | markers in this part, 1 to 71 |
//! | 56 | u8 | part | 0 for the first |
//! | 57 | u8 | parts | 1 to 255 |
//! | 58 | 6 bytes | | reserved |
//! | 64 + 16·k | 4 × f32 | marker | x, y, z and residual, in source axes and units |
//!
//! The residual says how well the cameras agreed: 0 for a perfect, computed or filled point. A
//! **negative residual means not seen**: x y z are then written as 0 and not looked at. A marker
//! with a number that is not finite counts as not seen too.
//!
//! ## Kind 3: force block
//!
//! Consecutive samples of all plates of a layout. Send several in one datagram, but every 20 ms at
//! the latest.
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 40 | u64 | first sample | number of the first sample; the next block continues where this one ends |
//! | 48 | u32 | layout | of the description with the plates |
//! | 52 | u16 | samples | at least 1 |
//! | 54 | u8 | channels | values a sample, 1 to 64: the channels of the first plate, then of the second, … |
//! | 55 | u8 | | reserved |
//! | 56 | f32 × | values | all channels of the first sample, of the second, … A value that is not finite was not measured |
//!
//! ## Kind 4: trigger
//!
//! One pulse of a microphone or switch at impact. As one datagram may be lost, a sender may repeat
//! a pulse up to three times with new sequence numbers: pulses of a stream with the same device
//! time are one.
//!
//! | offset | type | field | |
//! |---|---|---|---|
//! | 40 | u8 | pulse | 1 sound, 2 switch |
//! | 41 | 3 bytes | | reserved |
//! | 44 | f32 | strength | peak on the sender's own scale, 0 or more; not finite: unknown |
//!
//! ## Keyed datagrams
//!
//! Where others share the network, sender and receiver may share a key of 32 random bytes; a receiver with a
//! key takes keyed datagrams only. The sender sets bit 0 of the flags and puts a trailer of **24 bytes** behind
//! the last byte of the body, so that a keyed datagram has at most 1,224 bytes:
//!
//! | offset from the end | type | field | |
//! |---|---|---|---|
//! | −24 | u64 | sent | when it is sent by the sender's date, nanoseconds since 1970-01-01 00:00 UTC |
//! | −16 | 16 bytes | tag | the first 16 bytes of HMAC-SHA-256 (RFC 2104, FIPS 180-4; truncated as in RFC 4868) under the key, over all bytes before the tag |
//!
//! The key file has the key as 64 hexadecimal digits. A receiver takes a datagram once (by stream, epoch and
//! sequence, looking 1,024 numbers back), and only when its date is within 10 s of the receiver's and not before
//! the receiver started: both computers need the right time (NTP). What it takes, it keeps without flag and
//! trailer. The tag shows who sent a datagram; it hides nothing.
//!
//! ## Versions
//!
//! A new *minor* version only adds: kinds, contents, bytes between the header's 40 and its stated
//! length, or bytes after the body. So a receiver starts the body at the header length (offsets
//! above 40 move along), does not look at bytes after it, and counts and skips a kind or content that
//! it does not know. A new *major* version changes what is above; a receiver refuses a major other
//! than its own and names both numbers.
//!
//! ## A whole datagram
//!
//! Frame 7 of a layout with two markers, the second not seen, in hexadecimal (`|` between fields):
//!
//! ```
//! let text = "
//!     57 48 49 4e | 01 | 00 | 02 | 28 | 01 00 00 00 | 01 00 00 00     WHIN 1.0, marker frame
//!     00 e1 f5 05 | 00 00 00 00 | 09 00 00 00 00 00 00 00             epoch 100,000,000, sequence 9
//!     80 1d 2c 04 00 00 00 00                                         0.07 s
//!     07 00 00 00 00 00 00 00 | 01 00 00 00 | 00 00 | 02 00           frame 7, layout 1
//!     00 | 01 | 00 00 00 00 00 00                                     the only part
//!     00 00 20 41 | 00 00 c8 42 | 00 00 80 be | 00 00 00 3f           10, 100, -0.25; residual 0.5
//!     00 00 00 00 | 00 00 00 00 | 00 00 00 00 | 00 00 80 bf           not seen";
//! # let hex = text.lines().flat_map(|line| {
//! #     line.trim().split("     ").next().unwrap_or("").split_whitespace().filter(|s| *s != "|")
//! # });
//! # let bytes: Vec<u8> = hex.map(|b| u8::from_str_radix(b, 16).unwrap()).collect();
//! use protocol::wire::{Body, Marker, decode};
//! let (header, body) = decode(&bytes).unwrap();
//! assert_eq!((header.sequence, header.device_time_ns), (9, 70_000_000));
//! let Body::MarkerFrame(frame) = body else { panic!() };
//! let seen = Marker { position: [10.0, 100.0, -0.25], residual: 0.5 };
//! assert_eq!(frame.markers.iter().collect::<Vec<_>>(), [Some(seen), None]);
//! ```

#![forbid(unsafe_code)]

pub mod c3d;
pub mod lesson;
pub mod report;
pub mod rig;
pub mod screen;
pub mod shelf;
pub mod wire;

/// Major version of the datagram format: another one is refused.
pub const MAJOR: u8 = 1;
/// Minor version of the datagram format: newer ones are read as far as they are known.
pub const MINOR: u8 = 0;
/// Bytes of a datagram, at most.
pub const MAX_DATAGRAM: usize = 1200;
/// Bytes that a key adds to a datagram.
pub const TRAILER_BYTES: usize = 24;
/// Bytes of the header of this version; a newer minor may have more.
pub const HEADER_BYTES: usize = 40;
/// Sequence, frame and sample numbers and the size of device times in nanoseconds, at most: the
/// difference of any two fits in 64 bits.
pub const MAX_COUNT: u64 = 1 << 62;
/// Frames or samples a second, at most.
pub const MAX_RATE_HZ: f64 = 100_000.0;
/// Markers of a layout, at most.
pub const MAX_MARKERS: usize = 512;
/// Markers of one datagram, at most.
pub const MAX_MARKERS_A_PART: usize = 71;
/// Bytes of a label, at most.
pub const MAX_LABEL_BYTES: usize = 63;
/// Force plates of a layout, at most.
pub const MAX_PLATES: usize = 8;
/// Channels of a force sample over all plates, at most.
pub const MAX_CHANNELS: usize = 64;
