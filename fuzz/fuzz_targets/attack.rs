//! One program for all targets, each linked but once: `WARPWISE_TARGET=svg cargo fuzz run attack
//! fuzz/corpus/svg fuzz/seeds/svg`.
#![no_main]
#![allow(dead_code)]

#[path = "../../tests/attack_support/mod.rs"]
mod attack;

use std::sync::OnceLock;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    static TARGET: OnceLock<fn(&[u8])> = OnceLock::new();
    let target = TARGET.get_or_init(|| {
        let name = std::env::var("WARPWISE_TARGET").unwrap_or_default();
        let found = attack::TARGETS.iter().find(|t| t.0 == name);
        found.unwrap_or_else(|| panic!("WARPWISE_TARGET names no target")).1
    });
    target(bytes);
});
