//! Which content is this, whatever the file is called and wherever it lies?

use std::io::Read as _;
use std::path::Path;

use sayback_core::Cancel;

use super::error::{MediaError, ShownPath};
use super::reader::open_file;

/// Bytes hashed between two looks at the cancel flag.
const BLOCK_BYTES: usize = 1 << 20;

/// BLAKE3 of a file's bytes in lower-case hex; `progress` gets 0.0 to 1.0.
///
/// # Errors
/// [`MediaError::Cancelled`] once `cancel` is set; what opening and reading
/// may say.
pub fn content_hash(
    path: &Path,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<String, MediaError> {
    let (mut handle, len) = open_file(path)?;
    let file = ShownPath::new(path);
    let mut hasher = blake3::Hasher::new();
    let mut block = vec![0; BLOCK_BYTES];
    let mut done = 0_u64;
    loop {
        if cancel.is_cancelled() {
            return Err(MediaError::Cancelled { file });
        }
        match handle.read(&mut block) {
            Ok(0) => break,
            Ok(n) => {
                hasher.update(&block[..n]);
                done += n as u64;
                // A file that grows while read stays at 1.0.
                progress((done as f64 / len as f64).min(1.0) as f32);
            }
            Err(cause) if cause.kind() == std::io::ErrorKind::Interrupted => {}
            Err(cause) => return Err(MediaError::Read { file, cause }),
        }
    }
    Ok(hasher.finalize().to_hex().to_string())
}
