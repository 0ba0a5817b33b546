//! The shell around the probe: one connection, bytes and time.

use super::{Probe, Profile};
use crate::print::driver::{Event, Times};
use crate::print::net::Net;
use crate::print::worker::exchange;
use std::io;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::time::{Instant, sleep_until, timeout};

/// How long handing over what is to be printed may take.
const HAND_OVER: Duration = Duration::from_secs(20);

/// Why a printer could not be asked.
#[derive(Debug, thiserror::Error)]
pub enum ProbeError {
    /// No connection.
    #[error("nothing can be reached at {address}")]
    NoConnection {
        /// Where.
        address: String,
        /// Why not.
        #[source]
        cause: io::Error,
    },
    /// It ended the connection amid the questions.
    #[error("{0} ended the connection amid the questions")]
    Broken(String),
    /// It took the questions, but not what was to be printed behind them.
    #[error("{0} does not take what is to be printed")]
    NotTaken(String),
}

/// Asks the printer at `address` everything, one question after the other; hands it `print`
/// behind them if it can print.
///
/// # Errors
/// [`ProbeError`]; no answer is none: the profile says so.
pub async fn ask(net: &dyn Net, address: &str, print: Option<&[u8]>) -> Result<Profile, ProbeError> {
    let unreachable = |cause| ProbeError::NoConnection { address: address.to_owned(), cause };
    let broken = || ProbeError::Broken(address.to_owned());
    let connected = timeout(Times::default().connect, net.connect(address)).await;
    let mut connection = connected.map_err(|_| unreachable(io::ErrorKind::TimedOut.into()))?.map_err(unreachable)?;
    let began = Instant::now();
    let mut probe = Probe::new();
    let mut room = [0; 256];
    while let Some(deadline) = probe.deadline() {
        tokio::select! {
            biased;
            event = exchange(connection.as_mut(), probe.to_write(), &mut room) => match event {
                Event::Read(bytes) => probe.hear(bytes, began.elapsed()),
                Event::Wrote(count) => probe.wrote(count),
                _ => return Err(broken()),
            },
            () = sleep_until(began + deadline) => probe.tick(began.elapsed()),
        }
    }
    let profile = probe.into_profile();
    if let Some(bytes) = print.filter(|_| profile.trouble().is_none()) {
        let handed = timeout(HAND_OVER, connection.write_all(bytes)).await;
        if !matches!(handed, Ok(Ok(()))) {
            return Err(ProbeError::NotTaken(address.to_owned()));
        }
    }
    // Nothing depends on how the goodbye ends.
    let _ = connection.shutdown().await;
    Ok(profile)
}
