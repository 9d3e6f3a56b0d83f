//! The command line: thin over the library.

fn main() -> std::process::ExitCode {
    bms_sim::cli::main()
}
