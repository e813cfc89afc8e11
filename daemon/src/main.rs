//! whin
fn main() {}
