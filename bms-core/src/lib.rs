//! Battery-management decisions that explain themselves.
#![no_std]
