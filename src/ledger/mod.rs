//! The season in one SQLite file: every photograph, reading, fish, correction and husbandry event,
//! kept once and for ever.
//!
//! The file is append-only: triggers refuse to change or remove a row, and whatever holds *now* is the
//! newest row of its kind (the `current_…` views say so in SQL). A photograph is known by the SHA-256 of
//! its bytes. What a model reads in it is a **layer**: the same reading again adds nothing, another model
//! or scale adds a layer and leaves the older ones. What a person says about a fish is a **correction**:
//! it keeps the place and shape of its fish and so finds it again in every layer ([`follow`]).
//!
//! The schema is the SQL under `src/ledger/migrations/`, numbered by `user_version`; `docs/ledger.md`
//! explains it for readers in other languages.

mod backup;
mod check;
mod correct;
mod error;
mod export;
pub mod follow;
mod merge;
mod migrate;
mod open;
mod read;
mod record;
mod register;

pub use check::{Finding, LedgerHealth};
pub use correct::{Correction, Held, Said};
pub use error::LedgerError;
pub use export::EXPORTED;
pub use merge::Merged;
pub use migrate::NEWEST;
pub use open::{APPLICATION_ID, Ledger};
pub use read::{Lost, Sample};
pub use record::{Act, ActKind, ModelRef, Recorded, Scored};
pub use register::{EventRow, RegisterFile, RegisterRows, TankEntry};
