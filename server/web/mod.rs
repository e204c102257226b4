//! What does a person see?
//!
//! Comes in: nothing. Goes out: the page's own files, embedded in the binary.
//! Plain modules that speak to `/api/v1` and nowhere else: `transport` asks,
//! `state` remembers, `view` shows, `timeline` maps clocks, `sound` is heard.
//!
//! It never carries another site's file, a script written inline, or a build
//! step.

/// One file of the page.
#[derive(Clone, Copy, Debug)]
pub struct Asset {
    /// Its path on the server.
    pub path: &'static str,
    /// Its media type.
    pub media_type: &'static str,
    /// Its content.
    pub bytes: &'static [u8],
}

const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! asset {
    ($path:literal, $file:literal, $media_type:expr) => {
        Asset {
            path: $path,
            media_type: $media_type,
            bytes: include_bytes!($file),
        }
    };
}

/// Every file of the page.
pub const ASSETS: &[Asset] = &[
    asset!("/", "index.html", "text/html; charset=utf-8"),
    asset!("/page/style.css", "style.css", "text/css; charset=utf-8"),
    asset!("/page/mark.svg", "mark.svg", "image/svg+xml"),
    asset!("/page/main.js", "main.js", SCRIPT),
    asset!("/page/scripts.js", "scripts.js", SCRIPT),
    asset!("/page/transport.js", "transport.js", SCRIPT),
    asset!("/page/state.js", "state.js", SCRIPT),
    asset!("/page/player.js", "player.js", SCRIPT),
    asset!("/page/words.js", "words.js", SCRIPT),
    asset!("/page/timeline.js", "timeline.js", SCRIPT),
    asset!("/page/sound/chunks.js", "sound/chunks.js", SCRIPT),
    asset!("/page/sound/deck.js", "sound/deck.js", SCRIPT),
    asset!("/page/sound/gains.js", "sound/gains.js", SCRIPT),
    asset!("/page/sound/level.js", "sound/level.js", SCRIPT),
    asset!("/page/sound/plan.js", "sound/plan.js", SCRIPT),
    asset!("/page/sound/player.js", "sound/player.js", SCRIPT),
    asset!("/page/sound/reader.js", "sound/reader.js", SCRIPT),
    asset!("/page/sound/resample.js", "sound/resample.js", SCRIPT),
    asset!("/page/sound/stretch.js", "sound/stretch.js", SCRIPT),
    asset!("/page/sound/voice.js", "sound/voice.js", SCRIPT),
    asset!("/page/sound/wav.js", "sound/wav.js", SCRIPT),
    asset!("/page/view/dom.js", "view/dom.js", SCRIPT),
    asset!("/page/view/clock.js", "view/clock.js", SCRIPT),
    asset!("/page/view/events.js", "view/events.js", SCRIPT),
    asset!("/page/view/hits.js", "view/hits.js", SCRIPT),
    asset!("/page/view/recordings.js", "view/recordings.js", SCRIPT),
    asset!("/page/view/passes.js", "view/passes.js", SCRIPT),
    asset!("/page/view/progress.js", "view/progress.js", SCRIPT),
    asset!("/page/view/scripts.js", "view/scripts.js", SCRIPT),
];

/// The file at `path`.
#[must_use]
pub fn asset(path: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|asset| asset.path == path)
}
