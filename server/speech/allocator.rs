//! Keeps the process small between windows.

use std::sync::Once;

static SET: Once = Once::new();

/// Makes the C library's allocator hand every block of 128 KiB and more back to
/// the system when it is freed, and keep all small ones in one place. To be called
/// before there are threads; [`super::Whisper::load`] calls it too.
///
/// The library asks for some 130 MB for every window (tiny) and frees it. By
/// default glibc takes that as a hint to keep such blocks: the process stays
/// 55 MB larger between windows, and peaks 20 to 40 MB higher. It also gives
/// threads places of their own, and each window is a thread: another 20 MB.
/// Other systems do this well by themselves.
pub fn keep_memory_small() {
    SET.call_once(|| {
        #[cfg(target_env = "gnu")]
        {
            use std::ffi::c_int;
            /// malloc.h
            const M_MMAP_THRESHOLD: c_int = -3;
            /// malloc.h
            const M_ARENA_MAX: c_int = -8;
            #[allow(unsafe_code)]
            unsafe extern "C" {
                fn mallopt(parameter: c_int, value: c_int) -> c_int;
            }
            for (parameter, value) in [(M_MMAP_THRESHOLD, 128 << 10), (M_ARENA_MAX, 1)] {
                // SAFETY: glibc's own function, safe to call at any time; a
                // refusal changes nothing.
                #[allow(unsafe_code)]
                let _ = unsafe { mallopt(parameter, value) };
            }
        }
    });
}
