//! # What to draw for property tests
//!
//! A property test states a law and lets chance look for what breaks it. What chance draws decides what it can find. These are
//! [proptest] strategies for a battery controller: what is drawn is plausible, reads as a sentence, and shrinks to the smallest
//! thing that still breaks the law.
//!
//! | strategy | draws | shrinks to |
//! | --- | --- | --- |
//! | [`frames`] | a frame of a pack at rest in which some readings lie | fewer lies, none |
//! | [`lies`], [`spells`] | a reading that lies; one that lies for a stretch of time | a missing reading, a shorter stretch |
//! | [`configs`] | a configuration for a pack of this size, with limits and dwells moved | the usual limits |
//! | [`story::packs`], [`story::duties`], [`story::defects`], [`story::limits`] | parts of a story | the trainer, less work, a smaller defect, the usual limits |
//! | [`Stories`] | a whole case: pack, start, duty, defects, limits | a short story with one small defect |
//!
//! They come with the feature `strategies`, which a test asks for and a program that only plays cases does not:
//! `bms-sim = { …, features = ["strategies"] }` under `[dev-dependencies]`.
//!
//! Everything that is drawn is accepted by what it is drawn for: a configuration by its check, a story by the reader of case files.
//!
//! # The core alone
//!
//! Frames and configurations need no world. A law about one tick, held against any configuration and any frame:
//!
//! ```
//! use bms_core::units::Instant;
//! use bms_core::{Controller, Step};
//! use bms_sim::strategies::{configs, frames};
//! use proptest::prelude::*;
//!
//! proptest!(ProptestConfig { failure_persistence: None, cases: 32, ..ProptestConfig::default() }, |(
//!     drawn in configs::<16, 8>(),
//!     odd in frames::<16, 8>(0..4),
//! )| {
//!     let config = drawn.config();
//!     let mut core = Controller::<16, 8>::new(config.fit().expect("what is drawn is accepted"));
//!     let decision = core.tick(&odd.frame(&config, Instant(0)), &mut ());
//!     prop_assert_eq!(decision.step, Step::Open, "nothing closes in the first tick");
//! });
//! ```
//!
//! # A weakness, found and handed over
//!
//! [`hunt()`](hunt::hunt) plays stories against a law. What breaks it is shrunk and written as a case file, which `run` and `why` take as any
//! other. `examples/property_tester.rs` plants a limit that is too lax, and shows how it is found.
//!
//! **Cautions.** A law that was not broken was not proven: it held for what was drawn.

mod config;
mod frame;
pub mod hunt;
mod lie;
mod spell;
pub mod story;

pub use config::{Moved, Settings, configs};
pub use frame::{Odd, frames, still};
pub use lie::{Channel, Lie, Manner, lies};
pub use spell::{Spell, spells};
pub use story::{Stories, Story};
