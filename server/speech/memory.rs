//! Keeps the process small between windows.

use std::sync::Once;

static SET: Once = Once::new();

/// Makes the C library's allocator hand every block of 128 KiB and more back to
/// the system when it is freed.
///
/// The library asks for some 130 MB for every window (tiny) and frees it. By
/// default glibc takes that as a hint to keep such blocks: the process stays
/// at 150 MB instead of 95, and peaks 20 to 40 MB higher. Other systems do
/// this well by themselves.
pub(super) fn give_back_large_blocks() {
    SET.call_once(|| {
        #[cfg(target_env = "gnu")]
        {
            /// malloc.h
            const M_MMAP_THRESHOLD: std::ffi::c_int = -3;
            #[allow(unsafe_code)]
            unsafe extern "C" {
                fn mallopt(parameter: std::ffi::c_int, value: std::ffi::c_int) -> std::ffi::c_int;
            }
            // SAFETY: glibc's own function, safe to call at any time; a
            // refusal changes nothing.
            #[allow(unsafe_code)]
            let _ = unsafe { mallopt(M_MMAP_THRESHOLD, 128 << 10) };
        }
    });
}
