//! The writers on a made-up plan, which need not be one that verification would pass: they must not
//! break on any.
#![allow(clippy::unwrap_used)]

mod by_hand;
mod cut_sheets;
mod faces;
mod first_screen;
pub(super) mod kayak;
mod mosaics;
mod paper;
mod printed;
mod tables;
mod wording;
