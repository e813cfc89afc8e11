//! A running server, sample messages with every field filled, a plain HTTP client and a WebSocket
//! client.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use protocol::report::{Event, MarkerFault, Measurement, Metric, Report, Transport, Uncertainty};
use protocol::rig::{ClockHealth, ConfigShown};
use protocol::screen::{
    Archived, Finding, Health, Live, Message, Queue, ReceiveBuffer, Refused, Replay, ReplayGround,
    ReplayPlate, StreamHealth, Swing,
};
use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tokio_tungstenite::tungstenite::{self, client::IntoClientRequest};
use tokio_tungstenite::{WebSocketStream, client_async};

use crate::access::Access;
use crate::clock::Clock;
use crate::hub::{Bay, Hub};
use crate::pulse::Pulse;
use crate::several::Several;
use crate::web::{Served, Site, Statics, serve};

/// Tests wait so long for a state, not for a speed.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

pub(super) struct Rig {
    /// Of the first bay.
    pub(super) hub: Arc<Hub>,
    /// Of the second one.
    pub(super) south: Arc<Hub>,
    pub(super) address: SocketAddr,
    stop: oneshot::Sender<()>,
    served: JoinHandle<std::io::Result<()>>,
}

impl Rig {
    pub(super) async fn start(statics: Statics) -> Self {
        let [hub, south] = [("north", "North"), ("south", "South")].map(|(id, name)| {
            Arc::new(Hub::new(Bay {
                id: id.into(),
                name: name.into(),
                zone: "Europe/Berlin".into(),
                program: "0.1.0".into(),
                recording: "not recorded".into(),
            }))
        });
        let bays = [&hub, &south].map(|hub| Served {
            hub: Arc::clone(hub),
            coach: None,
            pulse: Arc::new(Pulse::new(Clock::start())),
        });
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (stop, stopped) = oneshot::channel();
        let stop_asked = async { drop(stopped.await) };
        let site = Site {
            bays: Several::of(bays).unwrap(),
            statics,
            access: Arc::new(Access::here(Clock::start())),
            config: ConfigShown {
                path: None,
                text: "version = 1\n".into(),
            },
            tls: None,
        };
        let served = tokio::spawn(serve(listener, site, stop_asked));
        Self {
            hub,
            south,
            address,
            stop,
            served,
        }
    }

    /// Stops and waits for the end.
    pub(super) async fn stop(self) {
        self.stop.send(()).unwrap();
        patient(self.served).await.unwrap().unwrap();
    }

    /// Asks the server to stop; the result comes when it has.
    pub(super) fn begin_stop(self) -> JoinHandle<std::io::Result<()>> {
        self.stop.send(()).unwrap();
        self.served
    }

    pub(super) async fn get(&self, path: &str) -> Answer {
        self.ask(&format!(
            "GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        ))
        .await
    }

    /// Sends exactly this request: paths reach the server as they are.
    pub(super) async fn ask(&self, request: &str) -> Answer {
        let mut stream = TcpStream::connect(self.address).await.unwrap();
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut bytes = Vec::new();
        patient(stream.read_to_end(&mut bytes)).await.unwrap();
        Answer::parse(&bytes)
    }

    pub(super) async fn screen(&self) -> Screen {
        self.screen_of("").await
    }

    /// A screen with this query.
    pub(super) async fn screen_of(&self, query: &str) -> Screen {
        let request = format!("ws://{}/ws{query}", self.address)
            .into_client_request()
            .unwrap();
        Screen::open(TcpStream::connect(self.address).await.unwrap(), request)
            .await
            .unwrap()
    }

    /// A screen whose kernel takes little, to fill its buffers soon.
    pub(super) async fn narrow_screen(&self) -> Screen {
        let socket = TcpSocket::new_v4().unwrap();
        socket.set_recv_buffer_size(4096).unwrap();
        let request = format!("ws://{}/ws", self.address)
            .into_client_request()
            .unwrap();
        Screen::open(socket.connect(self.address).await.unwrap(), request)
            .await
            .unwrap()
    }
}

pub(super) async fn patient<F: Future>(future: F) -> F::Output {
    tokio::time::timeout(PATIENCE, future)
        .await
        .expect("nothing happened in ten seconds")
}

pub(super) struct Answer {
    pub(super) status: u16,
    headers: BTreeMap<String, String>,
    pub(super) body: Vec<u8>,
}

impl Answer {
    fn parse(bytes: &[u8]) -> Self {
        let end = bytes
            .windows(4)
            .position(|w| w == b"\r\n\r\n")
            .expect("no end of headers");
        let head = std::str::from_utf8(&bytes[..end]).unwrap();
        let mut lines = head.split("\r\n");
        let status = lines
            .next()
            .unwrap()
            .split(' ')
            .nth(1)
            .unwrap()
            .parse()
            .unwrap();
        let header = |line: &str| {
            let (name, value) = line.split_once(": ").unwrap();
            (name.to_ascii_lowercase(), value.to_owned())
        };
        Self {
            status,
            headers: lines.map(header).collect(),
            body: bytes[end + 4..].to_vec(),
        }
    }

    pub(super) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", String::as_str)
    }

    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(super) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap()
    }
}

pub(super) struct Screen(pub(super) WebSocketStream<TcpStream>);

impl Screen {
    pub(super) async fn open(
        stream: TcpStream,
        request: tungstenite::handshake::client::Request,
    ) -> Result<Self, tungstenite::Error> {
        patient(client_async(request, stream))
            .await
            .map(|(socket, _)| Self(socket))
    }

    /// The next text as a message.
    pub(super) async fn next(&mut self) -> Message {
        match self.frame().await {
            tungstenite::Message::Text(text) => serde_json::from_str(&text).unwrap(),
            other => panic!("{other:?}"),
        }
    }

    pub(super) async fn frame(&mut self) -> tungstenite::Message {
        patient(self.0.next())
            .await
            .expect("the socket ended")
            .unwrap()
    }

    /// Reads on to the close frame: how many texts came before it, its code and reason.
    pub(super) async fn until_closed(&mut self) -> (usize, u16, String) {
        let mut texts = 0;
        loop {
            match self.frame().await {
                tungstenite::Message::Text(_) => texts += 1,
                tungstenite::Message::Close(Some(frame)) => {
                    return (texts, frame.code.into(), frame.reason.to_string());
                }
                other => panic!("{other:?}"),
            }
        }
    }
}

/// A report with every optional field in it.
pub(super) fn report(id: &str, revision: u32) -> Report {
    let metric = |value, change, reason: Option<&str>, limited: Option<&str>| Metric {
        value,
        unit: "m/s".into(),
        change,
        reason: reason.map(Into::into),
        limited: limited.map(Into::into),
        uncertainty: limited.map(|_| Uncertainty::Interval {
            standard: 0.2,
            low: 37.8,
            high: 38.7,
        }),
    };
    let event = |time_s, frame, reason: Option<&str>| Event {
        time_s,
        frame,
        uncertainty_s: time_s.map(|_| 0.000_4),
        reason: reason.map(Into::into),
    };
    let measurement = Measurement {
        kind: "shot".into(),
        confidence: Some(0.9),
        handed: "left".into(),
        events: BTreeMap::from([
            ("top".into(), event(Some(1.25), Some(133.5), None)),
            (
                "finish".into(),
                event(None, None, Some("the recording ends before it")),
            ),
        ]),
        metrics: BTreeMap::from([
            (
                "head_speed".into(),
                metric(Some(38.25), Some(1.5), None, Some("the toe was hidden")),
            ),
            ("tempo".into(), metric(None, None, Some("no finish"), None)),
        ]),
        club_length_m: None,
        markers: vec![MarkerFault {
            landmark: "c7".into(),
            missing_frames: 3,
            rejected_frames: 1,
            exchanged_frames: 0,
        }],
        notes: vec!["impact from the speed of the head".into()],
    };
    let transport = Transport {
        completed_at_ns: Some(5_000_000_000),
        frames_lost: 2,
        frames: 800,
    };
    Report {
        id: id.into(),
        revision,
        unrefined: Some("too many swings waited".to_owned()),
        measurement,
        transport,
    }
}

pub(super) fn unarchived(id: &str) -> Message {
    Message::Archived(Archived {
        bay: "north".into(),
        id: id.into(),
        archived: false,
        reason: Some("the disk is full".into()),
    })
}

pub(super) fn swing(id: &str, revision: u32) -> Message {
    Message::Swing(Swing {
        bay: "north".into(),
        report: report(id, revision),
    })
}

/// Health with every list filled; `bytes` of text make it long.
pub(super) fn health(dropped: u64, bytes: usize) -> Message {
    let stream = StreamHealth {
        stream: 1,
        content: "markers".into(),
        rate_hz: Some(360.0),
        seen_hz: 359.5,
        received: 1000,
        lost: 2,
        duplicate: 1,
        late: 0,
        reordered: 4,
        loss_percent: 0.2,
        hidden: vec!["c7".into()],
        landmarks: 32,
        clock: Some(ClockHealth {
            clock: 1,
            offset_s: 0.25,
            drift_ppm: 1.5,
            uncertainty_ms: 0.1,
            delay_ms: 0.7,
            sets: 0,
        }),
        told_late_ms: 0.0,
    };
    let text = "x".repeat(bytes);
    Message::Health(Health {
        bay: "north".into(),
        streams: vec![stream],
        findings: vec![Finding {
            code: "stream.lost".into(),
            severity: "warning".into(),
            text,
        }],
        receive_buffer: ReceiveBuffer {
            asked: 8,
            granted: 4,
        },
        dropped,
        refused: vec![Refused {
            reason: "not a Whin datagram".into(),
            count: 3,
        }],
        queues: vec![Queue {
            name: "arrivals".into(),
            waiting: 3,
            room: 4096,
        }],
    })
}

pub(super) fn replay(id: &str) -> Replay {
    Replay {
        ground: Some(ground()),
        id: id.into(),
        handed: "left".into(),
        rate_hz: 120.0,
        start_s: 0.5,
        landmarks: vec!["c7".into(), "t8".into()],
        frames: vec![
            vec![Some([0.1, 1.5, 0.0]), None],
            vec![None, Some([0.0, 1.25, -0.5])],
        ],
    }
}

/// A plate that tells, and one that does not.
fn ground() -> ReplayGround {
    let tells = ReplayPlate {
        name: "plate 1".into(),
        foot: Some("lead".into()),
        corners: Some([
            [0.0, 0.0, 0.0],
            [0.4, 0.0, 0.0],
            [0.4, 0.0, 0.6],
            [0.0, 0.0, 0.6],
        ]),
        forces: vec![Some([1.0, 400.0, -2.0]), None],
        centers: vec![Some([0.2, 0.0, 0.3]), None],
        reason: None,
    };
    let dead = ReplayPlate {
        name: "plate 2".into(),
        foot: None,
        corners: None,
        forces: Vec::new(),
        centers: Vec::new(),
        reason: Some("plate 2: it is dead".into()),
    };
    ReplayGround {
        body_weight_n: Some(735.5),
        plates: vec![tells, dead],
    }
}

pub(super) fn live(time_s: f64) -> Live {
    Live {
        pelvis_shift: None,
        pelvis_rotation: None,
        bay: "north".into(),
        time_s,
        landmarks: vec!["c7".into(), "t8".into()],
        points: vec![Some([0.1, 1.5, 0.0]), None],
    }
}
