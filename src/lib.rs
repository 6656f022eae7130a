//! Scores photographs of larval fish: every fry found and measured, its gas bladder called inflated
//! or not, and every tank's share and size reported with honest uncertainty.
//!
//! The modules read as the data flow. Leaves come first ([`units`], [`imaging`], [`stats`],
//! [`records`]); then a photograph becomes pixels ([`photo`]), millimetres ([`scale`]), candidate
//! regions ([`segmentation`]), measured fish ([`fish`]) and calls ([`bladder`]). [`pipeline`] is the
//! only place that runs these for one photograph. Many fish become a tank's estimate ([`tank`]) and
//! advice ([`decision`]); records are kept ([`ledger`]), shown ([`report`]) and, for the demo
//! world, drawn with known truth ([`render`]). [`cli`] joins all of it.
//!
//! A stage never imports a later one; `tests/layers.rs` reads the `use crate::` lines to keep it so.

pub mod imaging;
pub mod records;
pub mod stats;
pub mod units;

pub mod photo;
pub mod scale;
pub mod segmentation;
pub mod fish;
pub mod bladder;
pub mod pipeline;
pub mod tank;
pub mod decision;

pub mod season;
pub mod ledger;
pub mod report;
pub mod render;
pub mod cli;
