//! The modelled pack.
