//! What does a person see?
//!
//! Comes in: nothing. Goes out: the page's own files, embedded in the binary
//! (a debug build reads them from the source folder, so that a change is seen
//! by loading the page anew). Plain modules that speak to `/api/v1` and nowhere
//! else.
//!
//! It never carries another site's file, a script written inline, or a build
//! step.

use std::borrow::Cow;

use rust_embed::RustEmbed;

#[derive(RustEmbed)]
#[folder = "server/web/page"]
struct Files;

/// The page itself, which is served at `/`.
const INDEX: &str = "index.html";

/// Stands in the page where its modules are named.
const MODULES: &str = "<!-- modules -->";

/// Where all other files are served.
const BASE: &str = "/page/";

/// One file of the page.
#[derive(Clone, Debug)]
pub struct Asset {
    /// Its media type.
    pub media_type: &'static str,
    /// Its content.
    pub bytes: Cow<'static, [u8]>,
}

/// The file that is served at `path`.
#[must_use]
pub fn asset(path: &str) -> Option<Asset> {
    let name = match path {
        "/" => INDEX,
        _ => path.strip_prefix(BASE).filter(|&name| name != INDEX)?,
    };
    let ending = name.rsplit_once('.')?.1;
    let media_type = match ending {
        "html" => "text/html; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        _ => return None,
    };
    let mut bytes = Files::get(name)?.data;
    if name == INDEX {
        let page = String::from_utf8_lossy(&bytes).replacen(MODULES, &preloads(), 1);
        bytes = page.into_bytes().into();
    }
    Some(Asset { media_type, bytes })
}

/// Every module is asked for at once: a module names those it needs only when it is
/// there, and a chain of them is as many times slower as it is long.
fn preloads() -> String {
    let modules = paths().filter(|path| path.ends_with(".js"));
    modules
        .map(|path| format!("<link rel=\"modulepreload\" href=\"{path}\">"))
        .collect()
}

/// Where every file of the page is served.
pub fn paths() -> impl Iterator<Item = String> {
    Files::iter().map(|name| match name.as_ref() {
        INDEX => "/".to_owned(),
        name => format!("{BASE}{name}"),
    })
}
