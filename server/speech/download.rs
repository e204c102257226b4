//! How does a large file come over the network when the network may be closed?
//!
//! Every request asks for what is still missing: a download that was stopped or
//! stalled goes on where it ended. A network that answers nothing is given up
//! within seconds.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::path::Path;
use std::time::Duration;

use sayback_core::Cancel;

use super::SpeechError;

/// A closed network must not cost the user more than this before the next way
/// is tried.
const CONNECT: Duration = Duration::from_secs(5);
/// How long a server may think.
const ANSWER: Duration = Duration::from_secs(15);
/// How long no byte may come; what is missing then is asked for anew.
const STALL: Duration = Duration::from_secs(20);

/// Why a download stopped.
pub(super) enum Stop {
    /// Told to the user, then the next way is tried.
    Unreachable(String),
    /// Ends the whole attempt.
    Fatal(SpeechError),
}

impl From<SpeechError> for Stop {
    fn from(error: SpeechError) -> Self {
        Self::Fatal(error)
    }
}

/// Fetches `url` into `part`, going on where the file ends, until it has
/// `bytes` bytes. `received` gets the size so far.
pub(super) fn fetch(
    url: &str,
    part: &Path,
    bytes: u64,
    cancel: &Cancel,
    received: &mut dyn FnMut(u64),
) -> Result<(), Stop> {
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .timeout_resolve(Some(CONNECT))
        .timeout_connect(Some(CONNECT))
        .timeout_recv_response(Some(ANSWER))
        .timeout_per_read(Some(STALL))
        .http_status_as_error(false)
        .user_agent(concat!("sayback/", env!("CARGO_PKG_VERSION")))
        .build()
        .into();
    let mut file = OpenOptions::new()
        .create(true)
        .append(true)
        .open(part)
        .map_err(SpeechError::io("write", part))?;
    loop {
        let have = file
            .metadata()
            .map_err(SpeechError::io("read", part))?
            .len();
        if have == bytes {
            file.sync_all().map_err(SpeechError::io("write", part))?;
            return Ok(());
        }
        if have > bytes {
            restart(&file, part)?;
            continue;
        }
        let got = request(
            &agent,
            url,
            &mut file,
            part,
            (have, bytes),
            cancel,
            received,
        )?;
        if got == 0 {
            return Err(Stop::Unreachable("the server sent nothing".into()));
        }
    }
}

/// One request; answers how many bytes it brought.
fn request(
    agent: &ureq::Agent,
    url: &str,
    file: &mut File,
    part: &Path,
    (have, bytes): (u64, u64),
    cancel: &Cancel,
    received: &mut dyn FnMut(u64),
) -> Result<u64, Stop> {
    if cancel.is_cancelled() {
        return Err(SpeechError::Cancelled.into());
    }
    let mut asked = agent.get(url);
    if have > 0 {
        asked = asked.header("Range", format!("bytes={have}-"));
    }
    let answer = asked
        .call()
        .map_err(|error| Stop::Unreachable(error.to_string()))?;
    let start = match answer.status().as_u16() {
        206 => have,
        // The server knows no ranges, or refuses this one: from the start.
        200 | 416 if have > 0 => {
            restart(file, part)?;
            if answer.status().as_u16() == 416 {
                return request(agent, url, file, part, (0, bytes), cancel, received);
            }
            0
        }
        200 => 0,
        status => return Err(Stop::Unreachable(format!("the server answered {status}"))),
    };
    let mut at = start;
    let mut body = answer.into_body().into_reader().take(bytes - at);
    let mut buffer = vec![0; 1 << 16];
    loop {
        if cancel.is_cancelled() {
            return Err(SpeechError::Cancelled.into());
        }
        match body.read(&mut buffer) {
            Ok(0) => return Ok(at - start),
            Ok(size) => {
                file.write_all(&buffer[..size])
                    .map_err(SpeechError::io("write", part))?;
                at += size as u64;
                received(at);
            }
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            // A stall: what came is kept, and the rest asked for again.
            Err(_) if at > start => return Ok(at - start),
            Err(error) => return Err(Stop::Unreachable(error.to_string())),
        }
    }
}

fn restart(file: &File, part: &Path) -> Result<(), SpeechError> {
    file.set_len(0).map_err(SpeechError::io("write", part))
}
