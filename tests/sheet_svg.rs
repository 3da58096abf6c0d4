//! Cut sheets, read back by readers of our own and others.

#[path = "common/kayak.rs"]
mod kayak;

/// Writes the sheets of the made-up plan where a person can look at them: `SHEETS=DIR cargo test --test sheet_svg look -- --ignored`.
#[test]
#[ignore = "writes files to look at"]
fn look() {
    let dir = std::env::var("SHEETS").expect("SHEETS names a folder");
    for (name, svg) in warpwise::sheet::sheets(&kayak::plan()) {
        std::fs::write(std::path::Path::new(&dir).join(name), svg).expect("written");
    }
}
