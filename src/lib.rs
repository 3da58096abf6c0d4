//! Cut plans for hand lay-up: traced ply outlines become a verified layout on each cloth's roll.
//!
//! The flow, left to right; a module uses only those before it:
//! [`fault`], [`units`] → [`geometry`] → [`outline`] → [`cloth`] → [`job`] → [`ply`] → [`nest`] → [`plan`] → [`verify`] → [`planner`] → [`laminate`] → [`estimate`] → [`layup`] → [`sheet`].

pub mod cloth;
pub mod estimate;
pub mod fault;
pub mod geometry;
pub mod job;
pub mod laminate;
pub mod layup;
pub mod nest;
pub mod outline;
pub mod plan;
pub mod planner;
pub mod ply;
pub mod sheet;
pub mod units;
pub mod verify;
