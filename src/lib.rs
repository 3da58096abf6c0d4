//! Cut plans for hand lay-up: traced ply outlines become a verified layout on each cloth's roll.
//!
//! The flow, left to right; a module uses only those before it: [`printable`], [`fault`], [`units`], [`day`],
//! [`live`], [`run`], [`file_name`],
//! [`manifest`], [`json`] → [`geometry`] → [`outline`] → [`trace`] → [`cloth`] →
//! [`job`] → [`ply`] → [`stock`] → [`nest`] → [`assign`] → [`mosaic`] → [`plan`] → [`verify`] →
//! [`planner`] → [`laminate`] → [`estimate`] → [`layup`] → [`sheet`] → [`project`] → [`ledger`].

#[macro_use]
pub mod fault;

pub mod assign;
pub mod cloth;
pub mod day;
pub mod estimate;
pub mod file_name;
pub mod geometry;
pub mod job;
pub mod json;
pub mod laminate;
pub mod layup;
pub mod ledger;
pub mod live;
pub mod manifest;
pub mod mosaic;
pub mod nest;
pub mod outline;
pub mod plan;
pub mod planner;
pub mod ply;
pub mod printable;
pub mod project;
pub mod run;
pub mod sheet;
pub mod stock;
pub mod trace;
pub mod units;
pub mod verify;
pub mod workshop;
