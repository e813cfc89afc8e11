//! acc
use analysis::forward::*;
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let n: u64 = a[1].parse().unwrap();
    let rate: f64 = a[2].parse().unwrap();
    let noise: f64 = a[3].parse().unwrap();
    let drop: f64 = a.get(4).map_or(0.0, |d| d.parse().unwrap());
    let map = daemon::map::MarkerMap::load("whin_32").unwrap();
    let mut err: std::collections::BTreeMap<String, Vec<f64>> = Default::default();
    let mut missing: std::collections::BTreeMap<String, u32> = Default::default();
    for seed in 0..n {
        let mut p = GolferParams::from_seed(seed);
        p.style = Style::ALL[(seed % 7) as usize];
        if seed % 3 == 1 {
            p.handed = analysis::handed::Handed::Left;
        }
        if seed % 5 == 4 {
            p.ball = Ball::Missed;
        }
        if seed % 5 == 3 {
            p.ball = Ball::OffCenter;
        }
        let take = swing(
            &p,
            &CaptureParams {
                rate_hz: rate,
                noise_m: noise * 1e-3,
                dropout: drop,
                wobble: false,
            },
        );
        let c = daemon::synthetic::c3d(&take, &map);
        let due = daemon::feed::of_c3d(&c, Some(&map), 1).unwrap();
        let off = daemon::offline::analyze(
            due.iter().map(|d| daemon::receive::Arrival::Datagram {
                received_ns: 0,
                bytes: d.bytes.as_slice().into(),
            }),
            map.clone(),
            Default::default(),
        );
        if off.swings.len() != 1 {
            println!(
                "seed {seed} {:?} {:?}: {} swings",
                p.style,
                p.ball,
                off.swings.len()
            );
            continue;
        }
        let m = daemon::outgoing::measurement(&off.swings[0]);
        let t = daemon::synthetic::truth(&take.truth, rate, (0.0, 0.0));
        if m.handed != t.handed {
            println!("seed {seed} handed {} {}", m.handed, t.handed);
        }
        if m.kind != t.kind {
            println!("seed {seed} {:?} kind {} {}", p.ball, m.kind, t.kind);
        }
        for (k, e) in &t.events {
            match m.events.get(k).and_then(|e| e.time_s) {
                Some(x) => err
                    .entry(format!("event {k} ms"))
                    .or_default()
                    .push((x - e.time_s.unwrap()) * 1e3),
                None => *missing.entry(k.clone()).or_default() += 1,
            }
        }
        for (k, e) in &t.metrics {
            match m.metrics.get(k).and_then(|e| e.value) {
                Some(x) => err
                    .entry(format!("{k} {}", e.unit))
                    .or_default()
                    .push(x - e.value.unwrap()),
                None => {
                    *missing.entry(k.clone()).or_default() += 1;
                }
            }
        }
    }
    for (k, mut v) in err {
        let mean = v.iter().sum::<f64>() / v.len() as f64;
        v.iter_mut().for_each(|x| *x = x.abs());
        v.sort_by(f64::total_cmp);
        println!(
            "{k:45} n {:4} mean {:9.4} p50 {:9.4} p95 {:9.4} max {:9.4}",
            v.len(),
            mean,
            v[v.len() / 2],
            v[(v.len() * 95 / 100).min(v.len() - 1)],
            v[v.len() - 1]
        );
    }
    println!("missing {missing:?}");
}
