//! A modelled battery pack that runs the real firmware decisions and explains them.
pub mod case;
pub mod cli;
pub mod defect;
pub mod explain;
pub mod recording;
pub mod run;
pub mod world;
