//! The page in a real browser: by pointer, by keys alone, held against a checker of accessibility, hidden, and how evenly it runs.
//!
//! Needs Chromium, Node and a folder with `playwright-core` and `axe-core`, which `PAGE_TOOLS` names. Without them it says so and is
//! skipped; not in `.ci/run`, which has them.

use super::client::Server;
use std::path::Path;
use std::process::Command;

/// The first of these programs that answers.
fn program(names: &[&str]) -> Option<String> {
    let answers =
        |name: &&&str| Command::new(name).arg("--version").output().is_ok_and(|said| said.status.success());
    names.iter().find(answers).map(|name| (*name).to_owned())
}

#[test]
#[allow(clippy::print_stdout, reason = "whoever runs it wants to know")]
fn in_a_browser() {
    let tools = std::env::var("PAGE_TOOLS")
        .ok()
        .filter(|tools| Path::new(tools).join("node_modules/playwright-core").is_dir());
    let chromium = program(&["chromium", "chromium-browser", "google-chrome"]);
    let (Some(tools), Some(chromium), Some(node)) = (tools, chromium, program(&["node"])) else {
        println!("skipped: no Chromium, no Node, or no PAGE_TOOLS with playwright-core and axe-core in it");
        return;
    };
    let server = Server::of("healthy-shift.toml");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/page/browser.mjs");
    let mut line = Command::new(node);
    line.args([script, &format!("http://{}/", server.host), &tools, &chromium]);
    line.args(std::env::var("PAGE_PICTURES").ok());
    let said = line.output().unwrap();
    let text = String::from_utf8_lossy(&said.stdout);
    println!("{text}{}", String::from_utf8_lossy(&said.stderr));
    // The last of them, unless only some are asked for.
    let reached = std::env::var_os("TESTS").is_some() || text.contains("ok: quickly");
    assert!(said.status.success() && reached, "{text}");
}
