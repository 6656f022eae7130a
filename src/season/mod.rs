//! What a season is made of: the register that people type, the ages it gives, the course of each tank,
//! and the rules that say which tank needs somebody first.

pub mod admit;
pub mod age;
pub mod attention;
pub mod band;
pub mod course;
pub mod register;
pub mod species;
