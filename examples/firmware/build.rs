//! Hands the linker its scripts. Here and not in rustflags: a change of rustflags builds the whole core library anew.

use std::{env, fs, path::PathBuf};

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR for build scripts"));
    let board = if env::var_os("CARGO_FEATURE_STM32F407").is_some() { "stm32f407" } else { "mps2" };
    let memory = format!("src/boards/{board}.x");
    fs::copy(&memory, out.join("memory.x")).expect("the memory lies beside the board");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed={memory}");
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rustc-link-arg-bins=--nmagic");
    if env::var_os("CARGO_FEATURE_LOGGING").is_some() {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
}
