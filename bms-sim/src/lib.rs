//! A modelled battery pack that runs the real firmware decisions and explains them.
pub mod case;
pub mod defect;
pub mod world;
