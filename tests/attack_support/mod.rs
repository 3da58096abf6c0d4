//! What is attacked, each as a function of bytes that panics where a promise is broken. Driven by
//! `cargo fuzz`, and on any compiler by `examples/attack.rs`.

mod exact;
mod jobs;
pub mod mutate;
mod readers;
pub mod seeds;
mod shapes;
mod stock;

/// A name and what it does with an input.
pub type Target = (&'static str, fn(&[u8]));

/// Name and function of each target.
pub const TARGETS: [Target; 14] = [
    ("svg", readers::svg),
    ("dxf", readers::dxf),
    ("csv", readers::csv),
    ("stations", readers::stations),
    ("job", readers::job),
    ("draft", readers::draft),
    ("plan", readers::plan),
    ("photo", readers::photo),
    ("stock", stock::stock_file),
    ("import", stock::import),
    ("ledger", stock::ledger),
    ("shapes", shapes::shapes),
    ("layout", shapes::layout),
    ("whole_job", jobs::whole_job),
];

/// Choices out of bytes; when they run out, all is 0.
pub struct Bytes<'a>(pub &'a [u8]);

impl Bytes<'_> {
    /// The next byte.
    pub fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().unwrap_or((&0, &[]));
        self.0 = rest;
        *first
    }

    /// A number below another.
    pub fn below(&mut self, n: usize) -> usize {
        usize::from(self.byte()) % n.max(1)
    }

    /// Two bytes as a number.
    pub fn wide(&mut self) -> i64 {
        i64::from(u16::from_le_bytes([self.byte(), self.byte()]))
    }
}
