//! The C library's messages, on their way to the log instead of the terminal.

use std::cell::RefCell;
use std::ffi::{CStr, c_char, c_void};
use std::sync::Once;

use whisper_rs::whisper_rs_sys as sys;

static INSTALLED: Once = Once::new();

thread_local! {
    /// Of this thread: the library tells of a call on the thread that made it.
    static LAST_ERROR: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Takes over the library's messages, once for the process.
pub(super) fn install() {
    INSTALLED.call_once(|| {
        // SAFETY: `message` has the type the library asks for, lives as long
        // as the process and uses no user data. The library sets ggml's hook
        // to the same one.
        #[allow(unsafe_code)]
        unsafe {
            sys::whisper_log_set(Some(message), std::ptr::null_mut());
        }
    });
}

/// The last error the library complained of to this thread, for a message to the user;
/// told once, so that it never explains another failure.
pub(super) fn last_error() -> String {
    let last = LAST_ERROR.take();
    if last.is_empty() {
        "it gave no reason".into()
    } else {
        last
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn message(level: sys::ggml_log_level, text: *const c_char, _: *mut c_void) {
    if text.is_null() {
        return;
    }
    // SAFETY: the library passes a zero-terminated text that lives until this
    // returns.
    let text = unsafe { CStr::from_ptr(text) }.to_string_lossy();
    let text = text.trim();
    if text.is_empty() {
        return;
    }
    match level {
        sys::ggml_log_level_GGML_LOG_LEVEL_ERROR => {
            tracing::debug!(target: "sayback::speech::library", "{text}");
            LAST_ERROR.set(text.to_owned());
        }
        sys::ggml_log_level_GGML_LOG_LEVEL_WARN => {
            tracing::debug!(target: "sayback::speech::library", "{text}");
        }
        _ => tracing::trace!(target: "sayback::speech::library", "{text}"),
    }
}
