//! The command line program: hands its arguments to the library and its answer to the system.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tinsel::cli::run(std::env::args_os().collect()))
}
