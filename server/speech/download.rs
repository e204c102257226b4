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
    // The furthest that a request got.
    let mut most = None;
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
        // Without ranges a file that always breaks off would begin for ever.
        if most.is_some_and(|most| have <= most) {
            let why = format!("the server stops after {have} bytes of {bytes}");
            return Err(Stop::Unreachable(why));
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
        most = Some(have);
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

#[cfg(test)]
mod tests {
    use std::io::{BufRead, BufReader};
    use std::net::TcpListener;

    use super::*;

    /// A server without ranges that breaks off after so many of 100 bytes, one number
    /// a request.
    fn breaking_off(after: &'static [usize]) -> String {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        std::thread::spawn(move || {
            for (stream, after) in listener.incoming().flatten().zip(after) {
                let mut lines = BufReader::new(&stream).lines().map_while(Result::ok);
                while lines.next().is_some_and(|line| !line.is_empty()) {}
                let head = "HTTP/1.1 200 OK\r\nContent-Length: 100\r\nConnection: close\r\n\r\n";
                let _ = (&stream).write_all(&[head.as_bytes(), &vec![7; *after]].concat());
            }
        });
        format!("http://127.0.0.1:{port}/model")
    }

    fn fetched(after: &'static [usize]) -> Result<(), String> {
        let dir = tempfile::tempdir().unwrap();
        let part = dir.path().join("part");
        let url = breaking_off(after);
        match fetch(&url, &part, 100, &Cancel::new(), &mut |_| {}) {
            Ok(()) => Ok(()),
            Err(Stop::Unreachable(why)) => Err(why),
            Err(Stop::Fatal(error)) => panic!("{error}"),
        }
    }

    #[test]
    fn a_file_that_breaks_off_at_the_same_place_is_given_up() {
        assert_eq!(fetched(&[40, 60, 100]), Ok(()));
        let given_up = fetched(&[40, 60, 60, 100]);
        assert_eq!(
            given_up,
            Err("the server stops after 60 bytes of 100".into())
        );
    }
}
