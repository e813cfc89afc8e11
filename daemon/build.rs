//! Builds the program anew when a static file appears or goes: embedding alone notices changes only.

fn main() {
    println!("cargo:rerun-if-changed=../dashboard-static");
    println!("cargo:rerun-if-changed=maps");
}
