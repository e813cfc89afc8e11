//! try
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let map = daemon::map::MarkerMap::load(&a[2]).unwrap();
    let off =
        daemon::offline::analyze_c3d(std::path::Path::new(&a[1]), map, Default::default()).unwrap();
    for r in &off.remarks {
        println!("! {r}");
    }
    for m in &off.swings {
        println!(
            "{}",
            serde_json::to_string_pretty(&daemon::outgoing::measurement(m)).unwrap()
        );
    }
    println!("{} swings", off.swings.len());
}
