//! A server of one file, with the faults servers have.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::thread;

/// What is wrong with the server.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Behaviour {
    /// Nothing.
    Whole,
    /// Every answer ends after so many bytes.
    CutAfter(usize),
    /// It answers every request with the whole file.
    NoRanges,
    /// The file has the right size and one wrong byte.
    OneByteOff,
}

/// A running server; it ends with the test process.
pub struct Mirror {
    port: u16,
    asked_from: Arc<Mutex<Vec<u64>>>,
}

impl Mirror {
    /// Serves the file under every name.
    pub fn new(file: &Path, behaviour: Behaviour) -> Self {
        let mut bytes = fs::read(file).expect("the file to serve");
        if behaviour == Behaviour::OneByteOff {
            let middle = bytes.len() / 2;
            bytes[middle] ^= 1;
        }
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let asked_from = Arc::new(Mutex::new(Vec::new()));
        let noted = Arc::clone(&asked_from);
        thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                // The other side may hang up at any time.
                let _ = answer(stream, &bytes, behaviour, &noted);
            }
        });
        Self { port, asked_from }
    }

    /// What stands before the file names.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// The first byte of every request so far.
    pub fn asked_from(&self) -> Vec<u64> {
        self.asked_from.lock().expect("no panic there").clone()
    }
}

fn answer(
    mut stream: TcpStream,
    bytes: &[u8],
    behaviour: Behaviour,
    noted: &Mutex<Vec<u64>>,
) -> std::io::Result<()> {
    let mut from = 0;
    for line in BufReader::new(stream.try_clone()?).lines() {
        let line = line?.to_ascii_lowercase();
        if line.is_empty() {
            break;
        }
        if let Some(range) = line.strip_prefix("range: bytes=") {
            from = range.trim_end_matches('-').parse().unwrap_or(0);
        }
    }
    if behaviour == Behaviour::NoRanges {
        from = 0;
    }
    noted.lock().expect("no panic there").push(from as u64);
    let rest = &bytes[from..];
    let status = if from > 0 {
        "206 Partial Content"
    } else {
        "200 OK"
    };
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
        rest.len()
    )?;
    let sent = match behaviour {
        Behaviour::CutAfter(most) => &rest[..rest.len().min(most)],
        _ => rest,
    };
    stream.write_all(sent)?;
    stream.flush()
}
