//! # A pack to run the firmware in
//!
//! [`world`] is a modelled pack with everything around it: truth, in `f64`. [`defect`] lists what can be wrong with it. A [`case`] is one
//! story: pack, duty, operator, defects, seed. [`run::Loop`] plays it tick by tick under the real decisions of [`bms_core`], through
//! the very binding to pins that a board would use. [`recording`] keeps what happened, so that any tick can be visited again, and
//! [`explain`] says why: the chain from defect to open contactors, how far it was, and the verdict from truth.
//!
//! ```
//! use bms_sim::{case::Case, recording};
//! use std::sync::Arc;
//!
//! let text = r#"
//! schema = 1
//! title = "A thermistor wire breaks"
//! story = "Nothing but a reading is lost."
//! pack = "trainer"
//! seed = 1
//! duration_s = 3
//! [start]
//! charge_percent = 60
//! celsius = 18
//! [[defect]]
//! kind = "thermistor_open"
//! thermistor = 3
//! at_s = 1
//! "#;
//! let case = Arc::new(Case::parse(text, "wire.toml").map_err(|error| error.to_string())?);
//! let recording = recording::play::<16, 8>(&case, |_seconds| true).map_err(|error| error.to_string())?;
//! let (seconds, seen) = recording.confirmed()[0];
//! assert_eq!(seen.fault, bms_core::Fault::ThermistorOpen);
//! assert!(seconds < 1.3); // its dwell is 200 ms
//! # Ok::<(), String>(())
//! ```
//!
//! **Cautions.** A teaching model, not a certified safety function: see [`explain::words::CAUTIONS`].
pub mod case;
pub mod cli;
pub mod defect;
pub mod dictionary;
pub mod explain;
pub mod healthy;
pub mod page;
pub mod recording;
pub mod repair;
pub mod report;
pub mod rig;
pub mod run;
#[cfg(feature = "strategies")]
pub mod strategies;
pub mod survey;
pub mod work;
pub mod world;
