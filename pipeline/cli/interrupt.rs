//! Ctrl-C and SIGTERM: the command is dropped where it stands and temporary folders are removed.
//!
//! A lake is changed by whole commits only, so leaving off at any point does it no harm.

use std::process::ExitCode;
use std::time::Duration;

use tokio::sync::oneshot;

use super::scratch;

/// How long a command may take to let go; one that is reckoning without a pause does not.
pub const GRACE: Duration = Duration::from_secs(1);

/// What ended the program from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signal {
    Interrupt,
    #[cfg(unix)]
    Terminate,
}

impl Signal {
    /// 128 and the signal's number, as shells tell it.
    fn number(self) -> u8 {
        match self {
            Signal::Interrupt => 130,
            #[cfg(unix)]
            Signal::Terminate => 143,
        }
    }

    pub fn exit_code(self) -> ExitCode {
        ExitCode::from(self.number())
    }
}

/// What the command answers, or the signal that came before it was done. A command that has not let
/// go of the thread after [`GRACE`] is ended by ending the program.
pub async fn unless_interrupted<T>(command: impl Future<Output = T>) -> Result<T, Signal> {
    // Before the command begins, so that it makes nothing that no signal would remove.
    let Ok(signal) = listen() else {
        // Without a handler the system ends the program itself.
        return Ok(command.await);
    };
    let (tell, told) = oneshot::channel();
    tokio::spawn(async move {
        let signal = signal.await;
        // Nobody listens where the command is done already.
        let _ = tell.send(signal);
        tokio::time::sleep(GRACE).await;
        scratch::remove_all();
        report::files::remove_unfinished();
        std::process::exit(i32::from(signal.number()));
    });
    tokio::select! {
        biased;
        Ok(signal) = told => Err(signal),
        done = command => Ok(done),
    }
}

#[cfg(unix)]
fn listen() -> std::io::Result<impl Future<Output = Signal>> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => Signal::Interrupt,
            _ = terminate.recv() => Signal::Terminate,
        }
    })
}

#[cfg(windows)]
fn listen() -> std::io::Result<impl Future<Output = Signal>> {
    let mut interrupt = tokio::signal::windows::ctrl_c()?;
    Ok(async move {
        interrupt.recv().await;
        Signal::Interrupt
    })
}
