//! # What to draw for property tests
//!
//! A property test states a law and lets chance look for what breaks it. What chance draws decides what it can find. These are
//! [proptest] strategies for a battery controller: what is drawn is plausible, reads as a sentence, and shrinks to the smallest
//! thing that still breaks the law.
//!
//! | strategy | draws | shrinks to | needs the simulator |
//! | --- | --- | --- | --- |
//! | [`frames`] | a frame of a pack at rest in which some readings lie | fewer lies, none | no |
//! | [`lies`], [`spells`] | a reading that lies; one that lies for a stretch of time | a missing reading, a shorter stretch | no |
//! | [`configs`] | a configuration for a pack of this size, with limits and dwells moved | the usual limits | no |
#![cfg_attr(
    feature = "world",
    doc = "| [`story::packs`], [`story::duties`], [`story::defects`], [`story::limits`] | parts of a story | the trainer, less work, a smaller defect, the usual limits | yes |"
)]
#![cfg_attr(
    feature = "world",
    doc = "| [`Stories`] | a whole case: pack, start, duty, defects, limits | a short story with one small defect | yes |"
)]
//!
//! Everything that is drawn is accepted by what it is drawn for: a configuration by its check, a story by the reader of case files.
//!
//! # The core alone
//!
//! With `default-features = false` nothing of the simulator is compiled. A law about one tick, held against any configuration and any frame:
//!
//! ```
//! use bms_core::units::Instant;
//! use bms_core::{Controller, Step};
//! use bms_strategies::{configs, frames};
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
#![cfg_attr(
    feature = "world",
    doc = "
# A weakness, found and handed over

[`hunt()`](hunt::hunt) plays stories against a law. What breaks it is shrunk and written as a case file, which `run` and `why` of the simulator
take as any other. `examples/property_tester.rs` plants a limit that is too lax, and shows how it is found."
)]
//!
//! **Cautions.** A law that was not broken was not proven: it held for what was drawn.

mod config;
mod frame;
#[cfg(feature = "world")]
pub mod hunt;
mod lie;
mod spell;
#[cfg(feature = "world")]
pub mod story;

pub use config::{Moved, Settings, configs};
pub use frame::{Odd, frames, still};
pub use lie::{Channel, Lie, Manner, lies};
pub use spell::{Spell, spells};
#[cfg(feature = "world")]
pub use story::{Stories, Story};
