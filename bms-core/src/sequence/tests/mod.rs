//! The sequence against a small bench: what it says step by step, and the laws that hold on every path.

mod at_rest;
mod bench;
mod currents;
mod dialogue;
mod laws;
mod meters;
mod openings;
mod starts;
