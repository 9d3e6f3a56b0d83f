//! # Why
//!
//! From recorded evidence and from truth: the chain of what led to what, and the sentences for all of it. Nothing here is
//! guessed: every figure is read from evidence, from the world, or from a run without the defect.

pub mod words;
