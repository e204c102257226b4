//! A folder with everything: sound, lists and what is in it.

use std::path::PathBuf;

use axum::http::StatusCode;
use sayback_core::Cancel;
use sayback_core::timecode::FrameRate;

use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{CutFolder, CutFolderMade, Quote};
use super::list::{Heard, List, path_url, quoted};
use super::{How, left_out, written};
use crate::export::cut::{self, CutFormat, Media};
use crate::media::pull::{Cue, Folder, Original, Pull, PullEntry, PullError, Put};

/// The most characters of a quote in the name of its file.
const NAME_CHARS: usize = 40;

/// Makes it. What is offline is left out and told; the rest is written.
pub(super) fn make(
    list: &List,
    rate: FrameRate,
    formats: &[CutFormat],
    asked: &CutFolder,
) -> Answer<CutFolderMade> {
    let target = PathBuf::from(&asked.folder);
    if !target.is_absolute() {
        return Err(Problem::field("folder", "folder must be a whole path"));
    }
    let mut folder = Folder::start(&target).map_err(refused)?;
    let (mut media, mut quotes, mut left) = (Vec::new(), Vec::new(), Vec::new());
    for quote in &list.quotes {
        let heard = match list.heard(quote) {
            Ok(heard) => heard,
            Err(why) => {
                left.push(why);
                continue;
            }
        };
        let most = if asked.backups { usize::MAX } else { 1 };
        let mut takes = Vec::new();
        for (n, one) in heard.iter().take(most).enumerate() {
            let wish = wish(quote, one, asked.handles_ms);
            let name = name(quote, one, n > 0);
            match folder.pull(&name, &wish, &Cancel::new(), &mut |_| {}) {
                Ok(Put::Pulled(entry)) => {
                    takes.push(list.take(one, media.len(), entry.pulled.before));
                    media.push(of_entry(one, &entry));
                }
                // Without its chosen hearing a quote has no place in the lists.
                Ok(Put::Missing(missing)) if n == 0 => {
                    left.push(left_out(quote.place, missing.reason));
                    break;
                }
                Ok(Put::Missing(_)) => {}
                Err(error) => return Err(refused(error)),
            }
        }
        if let (Some(one), Some(first)) = (heard.first(), takes.first()) {
            quotes.push(quoted(quote, one.row, first.from, takes));
        }
    }
    let cut = list.cut(rate, media, quotes);
    let how = How {
        start: asked.start.clone(),
        per_source: asked.per_source,
        word_markers: asked.word_markers,
        ..How::default()
    };
    for (_, file) in written(&cut, formats, &how)? {
        folder
            .text(&file.name, file.text.as_bytes())
            .map_err(refused)?;
    }
    let manifest = folder.finish().map_err(refused)?;
    Ok(CutFolderMade {
        folder: asked.folder.clone(),
        sound: manifest.pulls.len(),
        lists: manifest.texts.into_iter().map(|text| text.path).collect(),
        left_out: left,
    })
}

/// What is pulled of a recording.
fn wish(quote: &Quote, one: &Heard<'_>, handles_ms: u64) -> Pull {
    let handles = handles_ms * u64::from(one.row.rate_hz) / 1_000;
    let said: cut::Quote = quoted(quote, one.row, one.from, Vec::new());
    let cues = said.words.into_iter().map(|word| Cue {
        from: word.from,
        to: word.to,
        label: word.text,
        text: String::new(),
    });
    Pull {
        original: Original {
            path: one.row.path.to_path_buf(),
            bytes: u64::try_from(one.row.size).ok(),
            hash: Some(one.row.file_hash.clone()),
        },
        channel: one.row.pick.parse().ok(),
        from: one.from,
        to: one.to,
        before: handles,
        after: handles,
        said: match &said.person {
            Some(person) => format!("{person}: {}", said.text),
            None => said.text,
        },
        cues: cues.collect(),
    }
}

/// `003 Ottilie But, Lee, I promise`, and the recorder behind it.
fn name(quote: &Quote, one: &Heard<'_>, is_backup: bool) -> String {
    let person = quote.person.as_deref().unwrap_or_default();
    let said: String = format!("{person} {}", quote.text)
        .trim()
        .chars()
        .take(NAME_CHARS)
        .collect();
    let kind = if is_backup { "backup " } else { "" };
    format!("{:03} {said} - {kind}{}", quote.place, one.row.source_label)
}

/// A pull as what lists take from.
fn of_entry(one: &Heard<'_>, entry: &PullEntry) -> Media {
    let file_name = entry.path.rsplit('/').next().unwrap_or(&entry.path);
    Media {
        id: one.row.id.0.clone(),
        label: one.row.source_label.clone(),
        placement: one.row.source_placement.to_string(),
        file_name: file_name.to_owned(),
        target_url: path_url(entry.path.as_ref()),
        sample_rate_hz: entry.pulled.form.rate_hz,
        channels: entry.pulled.form.channels,
        samples: entry.pulled.frames,
        time_reference: entry.pulled.time_reference,
        online: true,
    }
}

fn refused(error: PullError) -> Problem {
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, error.to_string())
}
