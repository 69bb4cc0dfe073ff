//! The binary: hands over to the command line and turns its answer into an exit code.

use std::process::ExitCode;

/// Tables are made by several threads that allocate much and often: a seventh of a report's time with the system's
/// allocator.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    voltwane::cli::run()
}
