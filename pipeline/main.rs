//! The binary: hands over to the command line and turns its answer into an exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    voltwane::cli::run()
}
