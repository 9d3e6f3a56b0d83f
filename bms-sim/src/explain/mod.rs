//! # Why
//!
//! From recorded evidence and from truth: what happened, what led to what, and the sentences for all of it. Nothing here is
//! guessed: every figure is read from evidence or from the world.

pub mod chain;
pub mod story;
pub mod verdict;
pub mod words;
