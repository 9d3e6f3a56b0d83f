//! The same pack as a practitioner would write it, run side by side.
//!
//! `baseline.py` is a loop over the ticks with `NumPy` over the cells, and one that Numba compiles: model, noise and rounding, but
//! no firmware and no contactors. It is run by the Python that the variable `PYTHON` names, else by `python3`; where that
//! has no `NumPy` the comparison is skipped, and the report says so.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

/// Runs the baseline, prints the ratio and leaves it beside criterion's own report.
pub(crate) fn compare(ours: Duration) {
    let report = report(ours);
    print!("\n{report}");
    let path = report_path();
    let written =
        path.parent().map_or(Ok(()), std::fs::create_dir_all).and_then(|()| std::fs::write(&path, &report));
    match written {
        Ok(()) => println!("written to {}", path.display()),
        Err(error) => println!("not written to {}: {error}", path.display()),
    }
}

fn report(ours: Duration) -> String {
    let ours = ours.as_secs_f64();
    let mut report =
        String::from("600 s of one pack of 96 cells in ticks of 10 ms, on one core, least of the runs\n\n");
    let mut line = |who: &str, seconds: f64| {
        let (milli, real_time, ratio) = (seconds * 1e3, 600.0 / seconds, seconds / ours);
        writeln!(report, "{who:<54} {milli:>9.1} ms {real_time:>8.0} x real time {ratio:>7.2} x ours")
            .expect("a string takes every text");
    };
    line("ours: world, sensors, firmware with every decision", ours);
    let said = run_baseline();
    match &said {
        Ok(text) => {
            for (who, seconds) in text.lines().filter_map(|text| text.split_once('\t')) {
                if let Ok(seconds) = seconds.parse() {
                    line(who, seconds);
                }
            }
        }
        Err(why) => report.push_str(&format!("\nComparison skipped: {why}\n")),
    }
    if let Ok(text) = said {
        for remark in text.lines().filter(|text| !text.contains('\t')) {
            report.push_str(remark);
            report.push('\n');
        }
    }
    report
}

/// What the baseline printed: a name, a tab and seconds on each line, or a remark.
fn run_baseline() -> Result<String, String> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| String::from("python3"));
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../benches/baseline.py");
    let output = Command::new(&python)
        .arg(script)
        .output()
        .map_err(|error| format!("{python} does not start ({error}); PYTHON may name one that has numpy"))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        Err(format!("{python}: {}", said.lines().last().unwrap_or("no reason given")))
    }
}

/// `criterion/closed loop/comparison.txt` in the target folder, which the running program lies in.
fn report_path() -> PathBuf {
    let target = std::env::current_exe()
        .ok()
        .and_then(|program| program.ancestors().nth(3).map(PathBuf::from))
        .unwrap_or_default();
    target.join("criterion").join("closed loop").join("comparison.txt")
}
