//! `cargo page [PAGE.html]`: runs `web/make`, which builds the page.

use std::path::Path;
use std::process::{Command, ExitCode};

fn main() -> ExitCode {
    let make = Path::new(env!("CARGO_MANIFEST_DIR")).join("../make");
    let run = Command::new("bash").arg(make).args(std::env::args_os().skip(1)).status();
    match run {
        Ok(status) => ExitCode::from(u8::try_from(status.code().unwrap_or(1)).unwrap_or(1)),
        Err(error) => {
            eprintln!("cargo page: can't run web/make with bash: {error}");
            ExitCode::from(2)
        }
    }
}
