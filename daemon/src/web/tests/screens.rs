//! Screens on the socket: snapshot, same messages for all, slow ones, closing, strangers.

use futures_util::{SinkExt, StreamExt};
use protocol::screen::{BayState, Message, Status};
use tokio::net::TcpStream;
use tokio_tungstenite::tungstenite;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;

use super::rig::{Rig, Screen, health, live, patient, report, swing};
use crate::web::Statics;

#[tokio::test]
async fn a_late_screen_gets_the_snapshot_and_then_what_comes() {
    let rig = Rig::start(Statics::Embedded).await;
    rig.hub.publish(swing("a", 1));
    rig.hub.publish(swing("a", 2));
    rig.hub.publish(Message::Status(Status {
        bay: "north".into(),
        state: BayState::Result,
        time_s: None,
    }));
    let mut screen = rig.screen().await;
    let Message::Hello(hello) = screen.next().await else {
        panic!("no hello first")
    };
    assert_eq!(
        (hello.state, hello.swings),
        (BayState::Result, vec![report("a", 2)])
    );
    rig.hub.publish(swing("b", 1));
    assert_eq!(screen.next().await, swing("b", 1));
    rig.stop().await;
}

#[tokio::test]
async fn a_screen_shows_the_bay_that_it_asks_for() {
    let rig = Rig::start(Statics::Embedded).await;
    let (mut first, mut south) = (rig.screen().await, rig.screen_of("?bay=south").await);
    for (screen, bay) in [(&mut first, "north"), (&mut south, "south")] {
        let Message::Hello(hello) = screen.next().await else {
            panic!("no hello first")
        };
        assert_eq!(hello.bay, bay);
    }
    rig.hub.publish(health(1, 0));
    rig.south.publish(health(2, 0));
    assert_eq!(first.next().await, health(1, 0));
    assert_eq!(
        south.next().await,
        health(2, 0),
        "nothing of the neighbor's"
    );
    rig.south.live(live(2.5));
    assert_eq!(south.next().await, Message::Live(live(2.5)));
    let refused = rig.get("/ws?bay=west").await;
    assert_ne!(refused.status, 101, "there is no such bay");
    rig.stop().await;
}

#[tokio::test]
async fn two_screens_get_the_same() {
    let rig = Rig::start(Statics::Embedded).await;
    let (mut one, mut two) = (rig.screen().await, rig.screen().await);
    assert_eq!(one.next().await, two.next().await);
    for count in 0..10 {
        rig.hub.publish(health(count, 0));
        rig.hub.publish(swing(&format!("s{count}"), 1));
    }
    for count in 0..10 {
        for expected in [health(count, 0), swing(&format!("s{count}"), 1)] {
            assert_eq!(one.next().await, expected);
            assert_eq!(two.next().await, expected);
        }
    }
    rig.stop().await;
}

#[tokio::test]
async fn poses_reach_a_screen() {
    let rig = Rig::start(Statics::Embedded).await;
    let mut screen = rig.screen().await;
    assert!(matches!(screen.next().await, Message::Hello(_)));
    rig.hub.live(live(2.5));
    assert_eq!(screen.next().await, Message::Live(live(2.5)));
    rig.stop().await;
}

/// `publish` is called on this very thread, in step with the reading screen: if it ever waited for
/// the one that does not read, nothing would come and the test would lose its patience.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_screen_that_never_reads_is_closed_while_another_goes_on() {
    let rig = Rig::start(Statics::Embedded).await;
    let (mut slow, mut quick) = (rig.narrow_screen().await, rig.screen().await);
    assert!(matches!(quick.next().await, Message::Hello(_)));
    let mut count = 0;
    while rig.hub.screens() == 2 {
        rig.hub.publish(health(count, 60_000));
        assert_eq!(quick.next().await, health(count, 60_000));
        count += 1;
        assert!(
            count < 2000,
            "120 MB sent and the slow screen still counts as one that keeps up"
        );
    }
    let (texts, code, reason) = slow.until_closed().await;
    assert_eq!(
        (code, reason.as_str()),
        (1013, "fell behind: connect again for a snapshot")
    );
    assert!(texts < count as usize, "{texts} of {count}");
    rig.hub.publish(health(count, 0));
    assert_eq!(quick.next().await, health(count, 0));
    let Message::Hello(again) = rig.screen().await.next().await else {
        panic!("no hello")
    };
    assert_eq!(again.health.map(Message::Health), Some(health(count, 0)));
    rig.stop().await;
}

#[tokio::test]
async fn at_the_end_screens_are_told() {
    let rig = Rig::start(Statics::Embedded).await;
    let (mut one, mut two) = (rig.screen().await, rig.screen().await);
    let served = rig.begin_stop();
    for screen in [&mut one, &mut two] {
        let (_, code, reason) = screen.until_closed().await;
        assert_eq!((code, reason.as_str()), (1001, "closing"));
    }
    patient(served).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_screen_that_does_not_answer_does_not_hold_the_end() {
    let rig = Rig::start(Statics::Embedded).await;
    let silent = rig.narrow_screen().await;
    let half_a_request = TcpStream::connect(rig.address).await.unwrap();
    half_a_request.try_write(b"GET / HTTP/1.1\r\nHo").unwrap();
    rig.stop().await;
    drop((silent, half_a_request));
}

#[tokio::test]
async fn what_a_screen_sends_is_not_looked_at() {
    let rig = Rig::start(Statics::Embedded).await;
    let mut screen = rig.screen().await;
    assert!(matches!(screen.next().await, Message::Hello(_)));
    screen
        .0
        .send(tungstenite::Message::text("{\"type\":\"status\"}"))
        .await
        .unwrap();
    screen
        .0
        .send(tungstenite::Message::binary(vec![0; 1000]))
        .await
        .unwrap();
    screen
        .0
        .send(tungstenite::Message::Ping(vec![1, 2].into()))
        .await
        .unwrap();
    assert_eq!(
        screen.frame().await,
        tungstenite::Message::Pong(vec![1, 2].into())
    );
    rig.hub.publish(swing("a", 1));
    assert_eq!(screen.next().await, swing("a", 1));
    screen
        .0
        .send(tungstenite::Message::text("x".repeat(5000)))
        .await
        .unwrap();
    while let Some(Ok(_)) = patient(screen.0.next()).await {}
    rig.hub.publish(swing("b", 1));
    assert_eq!(rig.hub.screens(), 0, "a long message ends it");
    rig.stop().await;
}

#[tokio::test]
async fn a_screen_that_closes_is_answered() {
    let rig = Rig::start(Statics::Embedded).await;
    let mut screen = rig.screen().await;
    assert!(matches!(screen.next().await, Message::Hello(_)));
    screen.0.close(None).await.unwrap();
    assert!(matches!(
        screen.frame().await,
        tungstenite::Message::Close(_)
    ));
    assert!(patient(screen.0.next()).await.is_none());
    rig.stop().await;
}

/// What the server says to an upgrade with this header.
async fn refusal(rig: &Rig, header: &'static str, value: String) -> (u16, serde_json::Value) {
    let mut request = format!("ws://{}/ws", rig.address)
        .into_client_request()
        .unwrap();
    request.headers_mut().insert(header, value.parse().unwrap());
    let stream = TcpStream::connect(rig.address).await.unwrap();
    let Err(tungstenite::Error::Http(answer)) = Screen::open(stream, request).await else {
        panic!("{header}: {value} was let in");
    };
    let body = answer.body().clone().unwrap();
    (
        answer.status().as_u16(),
        serde_json::from_slice(&body).unwrap(),
    )
}

#[tokio::test]
async fn pages_of_other_sites_are_kept_out() {
    let rig = Rig::start(Statics::Embedded).await;
    let (status, problem) = refusal(&rig, "origin", "http://other.example".into()).await;
    assert_eq!(
        (status, &problem["code"]),
        (403, &"socket.origin_refused".into())
    );
    let port = rig.address.port();
    let (status, problem) = refusal(&rig, "host", format!("other.example:{port}")).await;
    assert_eq!(
        (status, &problem["code"]),
        (403, &"http.host_refused".into())
    );
    let mut request = format!("ws://{}/ws", rig.address)
        .into_client_request()
        .unwrap();
    request
        .headers_mut()
        .insert("origin", format!("http://{}", rig.address).parse().unwrap());
    let own = Screen::open(TcpStream::connect(rig.address).await.unwrap(), request).await;
    assert!(matches!(own.unwrap().next().await, Message::Hello(_)));
    rig.stop().await;
}

#[tokio::test]
async fn there_are_places_for_so_many_screens() {
    let rig = Rig::start(Statics::Embedded).await;
    let mut screens = Vec::new();
    for _ in 0..64 {
        screens.push(rig.screen().await);
    }
    let (status, problem) = refusal(&rig, "x-any", "1".into()).await;
    assert_eq!((status, &problem["code"]), (503, &"socket.full".into()));
    let mut leaving = screens.pop().unwrap();
    leaving.0.close(None).await.unwrap();
    while patient(leaving.0.next()).await.is_some() {}
    // The place is free a moment after the goodbye.
    let free = async {
        loop {
            let request = format!("ws://{}/ws", rig.address)
                .into_client_request()
                .unwrap();
            let stream = TcpStream::connect(rig.address).await.unwrap();
            if Screen::open(stream, request).await.is_ok() {
                break;
            }
            tokio::task::yield_now().await;
        }
    };
    patient(free).await;
    rig.stop().await;
}
