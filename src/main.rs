//! The program: passes its arguments to the library and returns the exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tinsel::cli::run(std::env::args_os().collect()))
}
