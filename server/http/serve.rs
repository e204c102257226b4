//! One server per data folder, on loopback, found by its `server.json`.

use std::fs::{File, OpenOptions, TryLockError};
use std::future::Future;
use std::io::{self, Write};
use std::net::SocketAddr;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};
use tokio::net::TcpListener;

use super::{AppState, router};

/// How long open answers may go on after the server was asked to stop.
const GRACE: Duration = Duration::from_secs(5);

/// How often uploads that nobody goes on with are looked for.
const SWEEP_EVERY: Duration = Duration::from_secs(3600);

/// Why the server does not start.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Anything but loopback needs accounts.
    #[error(
        "'{0}' is not loopback: this version has no accounts, so it listens on 127.0.0.1 or [::1] only"
    )]
    NotLoopback(SocketAddr),
    /// Another server works on this folder.
    #[error("another server already works on '{0}'; stop it, or choose another folder with --data")]
    AlreadyServed(PathBuf),
    /// The address cannot be had.
    #[error("cannot listen on {address}: {source}; choose another with --listen")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// The cause.
        source: io::Error,
    },
    /// A folder of `--root` is not there.
    #[error("cannot use the root '{path}': {source}; mend or leave out its --root")]
    Root {
        /// The folder.
        path: PathBuf,
        /// The cause.
        source: io::Error,
    },
    /// A file of the data folder cannot be written.
    #[error("cannot write '{path}': {source}")]
    Write {
        /// The file.
        path: PathBuf,
        /// The cause.
        source: io::Error,
    },
    /// The server broke.
    #[error("the server stopped: {0}")]
    Stopped(io::Error),
}

/// Where a running server is: `<data>/server.json`, for the owner only.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ServerFile {
    /// Its address, without a slash at the end.
    pub url: String,
    /// What proves that the caller owns the data folder.
    pub token: String,
    /// Its process.
    pub pid: u32,
}

/// The running server of a data folder, if there is one: its file is believed
/// only while the lock is held.
#[must_use]
pub fn running_server(data_dir: &Path) -> Option<ServerFile> {
    let lock = File::open(data_dir.join(LOCK)).ok()?;
    match lock.try_lock_shared() {
        Err(TryLockError::WouldBlock) => {}
        Ok(()) | Err(TryLockError::Error(_)) => return None,
    }
    let text = std::fs::read(data_dir.join(SERVER_FILE)).ok()?;
    serde_json::from_slice(&text).ok()
}

/// A new secret for the owner of the data folder.
///
/// # Errors
/// When the system has no randomness to give.
pub fn new_token() -> io::Result<String> {
    let mut secret = [0_u8; 32];
    io::Read::read_exact(&mut File::open("/dev/urandom")?, &mut secret)?;
    Ok(blake3::Hash::from_bytes(secret).to_hex().to_string())
}

const LOCK: &str = "server.lock";
const SERVER_FILE: &str = "server.json";

/// A server that listens and is not answering yet.
pub struct Bound {
    listener: TcpListener,
    state: AppState,
    address: SocketAddr,
    // In this order: the file goes before the lock is given up.
    _file: PublishedFile,
    _lock: File,
}

impl Bound {
    /// Takes the data folder's lock, listens, and writes `server.json`.
    ///
    /// # Errors
    /// [`ServeError`] when the address is not loopback or taken, or another
    /// server works on the folder, or a root is not there.
    pub async fn bind(state: AppState, listen: SocketAddr) -> Result<Self, ServeError> {
        if !listen.ip().is_loopback() {
            return Err(ServeError::NotLoopback(listen));
        }
        for root in &*state.roots {
            root.read_dir().map_err(|source| ServeError::Root {
                path: root.clone(),
                source,
            })?;
        }
        let lock = lock(&state.data_dir)?;
        let refused = |source| ServeError::Listen {
            address: listen,
            source,
        };
        let listener = TcpListener::bind(listen).await.map_err(refused)?;
        let address = listener.local_addr().map_err(refused)?;
        let file = PublishedFile::write(
            &state.data_dir,
            &ServerFile {
                url: format!("http://{address}"),
                token: state.token.to_string(),
                pid: std::process::id(),
            },
        )?;
        Ok(Self {
            listener,
            state,
            address,
            _file: file,
            _lock: lock,
        })
    }

    /// The address to open in a browser.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Answers until `shutdown` is done, then lets open answers finish for at
    /// most five seconds.
    ///
    /// # Errors
    /// When the listening socket breaks.
    pub async fn run(
        self,
        shutdown: impl Future<Output = ()> + Send + 'static,
    ) -> Result<(), ServeError> {
        let stopping = self.state.stopping.clone();
        let asked = stopping.clone();
        let engine = self.state.engine.clone();
        let sweeping = async {
            loop {
                tokio::time::sleep(SWEEP_EVERY).await;
                engine.sweep_sendings().await;
            }
        };
        let app = router(self.state);
        let serving = axum::serve(self.listener, app)
            .with_graceful_shutdown(async move {
                shutdown.await;
                asked.cancel();
            })
            .into_future();
        let patience = async {
            stopping.cancelled().await;
            tokio::time::sleep(GRACE).await;
        };
        tokio::select! {
            done = serving => done.map_err(ServeError::Stopped),
            () = patience => Ok(()),
            () = sweeping => Ok(()),
        }
    }
}

fn lock(data_dir: &Path) -> Result<File, ServeError> {
    let path = data_dir.join(LOCK);
    let file = OpenOptions::new()
        .create(true)
        .write(true)
        .truncate(false)
        .mode(0o600)
        .open(&path);
    let taken = file.and_then(|file| match try_lock(&file) {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(error)) => Err(error),
    });
    match taken {
        Ok(Some(file)) => Ok(file),
        Ok(None) => Err(ServeError::AlreadyServed(data_dir.to_path_buf())),
        Err(source) => Err(ServeError::Write { path, source }),
    }
}

/// Tries for a moment: whoever asks whether a server runs holds the lock for
/// an instant.
fn try_lock(file: &File) -> Result<(), TryLockError> {
    for _ in 0..10 {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(10)),
            other => return other,
        }
    }
    file.try_lock()
}

/// `server.json`, removed when the server ends.
struct PublishedFile(PathBuf);

impl PublishedFile {
    fn write(data_dir: &Path, content: &ServerFile) -> Result<Self, ServeError> {
        let path = data_dir.join(SERVER_FILE);
        let partial = data_dir.join("server.json.new");
        let written = (|| {
            match std::fs::remove_file(&partial) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
            let mut file = OpenOptions::new()
                .create_new(true)
                .write(true)
                .mode(0o600)
                .open(&partial)?;
            file.write_all(&serde_json::to_vec(content)?)?;
            std::fs::rename(&partial, &path)
        })();
        match written {
            Ok(()) => Ok(Self(path)),
            Err(source) => Err(ServeError::Write { path, source }),
        }
    }
}

impl Drop for PublishedFile {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.0) {
            tracing::warn!(path = %self.0.display(), %error, "cannot remove the server's file");
        }
    }
}
