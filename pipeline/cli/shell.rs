//! `voltwane completions` and `voltwane manual`: what a shell and `man` want to know, made from the
//! command line itself.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use super::{Cli, Outcome, say};

/// Print completions for a shell
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  voltwane completions bash > ~/.local/share/bash-completion/completions/voltwane"
)]
pub struct Completions {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    shell: Shell,
}

impl Completions {
    pub fn run(self) -> anyhow::Result<Outcome> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "voltwane", &mut text);
        std::io::stdout().write_all(&text)?;
        Ok(Outcome::Clean)
    }
}

/// Write the manual pages
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  voltwane manual --out ~/.local/share/man/man1")]
pub struct Manual {
    /// Where to write voltwane.1 and a page for each command
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

impl Manual {
    pub fn run(self) -> anyhow::Result<Outcome> {
        std::fs::create_dir_all(&self.out)?;
        clap_mangen::generate_to(Cli::command(), &self.out)?;
        say(self.out.join("voltwane.1").display())?;
        Ok(Outcome::Clean)
    }
}
