//! A cut list with its sound, lists and what is in it: put into a folder.

use sayback_core::Cancel;
use sayback_core::timecode::FrameRate;

use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{CutFolder, CutFolderMade, LeftOut, Quote};
use super::list::{List, path_url, quoted};
use super::pieces::Heard;
use super::{How, MOST_HANDLES_MS, format_of, left_out, refused, written};
use crate::export::cut::{self, CutFormat, Media, Take};
use crate::media::pull::{Cue, Folder, Original, Pull, PullEntry, PullError, Put};

/// The most characters of a quote in the name of its file.
const NAME_CHARS: usize = 40;

/// What is handed over of a list.
pub(super) struct Parcel {
    list: List,
    rate: FrameRate,
    formats: Vec<CutFormat>,
    handles_ms: u64,
    backups: bool,
    how: How,
}

/// Why a parcel was not made.
pub(super) enum Stopped {
    /// Somebody asked for it, or went away.
    Cancelled,
    /// Something is in the way.
    Refused(String),
}

impl Parcel {
    /// # Errors
    /// What makes no sense, by its field; a list that can't be cut.
    pub fn of(list: List, asked: CutFolder) -> Answer<Self> {
        let formats = asked.formats.iter().map(|name| format_of(name));
        let formats: Vec<CutFormat> = formats.collect::<Answer<_>>()?;
        if asked.handles_ms > MOST_HANDLES_MS {
            let why = format!("handles are at most {MOST_HANDLES_MS} ms");
            return Err(Problem::field("handles_ms", why));
        }
        let rate = list.rate(asked.frame_rate.as_deref(), &formats)?;
        if let Some(start) = &asked.start {
            let frame = rate.frame_of(start);
            frame.map_err(|why| Problem::field("start", format!("start: {why}")))?;
        }
        list.where_it_lies(rate).0.laid().map_err(refused)?;
        Ok(Self {
            list,
            rate,
            formats,
            handles_ms: asked.handles_ms,
            backups: asked.backups,
            how: How {
                start: asked.start,
                per_source: asked.per_source,
                word_markers: asked.word_markers,
                ..How::default()
            },
        })
    }

    /// The list, by its id.
    pub fn cut(&self) -> &str {
        &self.list.id
    }

    /// What a file of all of it is called, without an ending.
    pub fn name(&self) -> &str {
        &self.list.name
    }

    /// How many pulls there will be, if all can be made.
    pub fn files(&self) -> usize {
        let quotes = self.list.quotes.iter();
        let pieces = quotes.filter_map(|quote| self.list.pieces(quote).ok());
        let takes = pieces
            .flatten()
            .map(|piece| piece.heard.len().min(self.most()));
        takes.sum()
    }

    /// Takes of a quote that are pulled.
    fn most(&self) -> usize {
        if self.backups { usize::MAX } else { 1 }
    }

    /// Fills a folder. What is offline is left out and told; the rest is written.
    /// `progress` gets how many files were looked at.
    ///
    /// # Errors
    /// When somebody asked to stop, or nothing can be written.
    pub fn fill(
        &self,
        mut folder: Folder<'_>,
        cancel: &Cancel,
        progress: &dyn Fn(usize),
    ) -> Result<CutFolderMade, Stopped> {
        let list = &self.list;
        let (mut media, mut quotes, mut left) = (Vec::new(), Vec::new(), Vec::new());
        let mut looked_at = 0;
        for quote in &list.quotes {
            let pieces = match list.pieces(quote) {
                Ok(pieces) => pieces,
                Err(why) => {
                    left.push(why);
                    continue;
                }
            };
            // All of a quote or nothing: half of one is no line.
            let (known, mut whole, mut lacks) = (media.len(), Vec::new(), None);
            for piece in &pieces {
                let mut takes: Vec<Take> = Vec::new();
                for (n, one) in piece.heard.iter().take(self.most()).enumerate() {
                    let wish = self.wish(&piece.quote, one);
                    let name = name(quote, one, piece.number, n > 0);
                    let put = folder.pull(&name, &wish, cancel, &mut |_| {})?;
                    looked_at += 1;
                    progress(looked_at);
                    match put {
                        Put::Pulled(entry) => {
                            takes.push(list.take(one, media.len(), entry.pulled.before));
                            media.push(of_entry(one, &entry));
                        }
                        // Without its chosen hearing a quote has no place in the lists.
                        Put::Missing(missing) if n == 0 => {
                            lacks.get_or_insert(missing.reason);
                            break;
                        }
                        Put::Missing(_) => {}
                    }
                }
                if let (Some(one), Some(first)) = (piece.heard.first(), takes.first()) {
                    whole.push(quoted(&piece.quote, one.row, first.from, takes));
                }
            }
            match lacks {
                None => quotes.extend(whole),
                Some(reason) => {
                    media.truncate(known);
                    left.push(left_out(quote.place, reason));
                }
            }
        }
        self.lists(folder, media, quotes, left)
    }

    /// The lists, by what was really pulled, and the end.
    fn lists(
        &self,
        mut folder: Folder<'_>,
        media: Vec<Media>,
        quotes: Vec<cut::Quote>,
        left_out: Vec<LeftOut>,
    ) -> Result<CutFolderMade, Stopped> {
        let cut = self.list.cut(self.rate, media, quotes);
        let files = written(&cut, &self.formats, &self.how);
        let files = files.map_err(|why| Stopped::Refused(why.detail.clone()))?;
        for (_, file) in files {
            folder.text(&file.name, file.text.as_bytes())?;
        }
        let manifest = folder.finish()?;
        Ok(CutFolderMade {
            sound: manifest.pulls.len(),
            lists: manifest.texts.into_iter().map(|text| text.path).collect(),
            left_out,
        })
    }

    /// What is pulled of a recording.
    fn wish(&self, quote: &Quote, one: &Heard<'_>) -> Pull {
        let handles = self.handles_ms * u64::from(one.row.rate_hz) / 1_000;
        // Words are at their times in the quote, of which a backup may have only a part:
        // what was said before its file began is not in it.
        let said: cut::Quote = quoted(quote, one.row, one.from, Vec::new());
        let cues = said.words.into_iter().filter_map(|word| {
            Some(Cue {
                from: word.from.saturating_sub(one.later),
                to: word.to.checked_sub(one.later).filter(|to| *to > 0)?,
                label: word.text,
                text: String::new(),
            })
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
}

impl From<PullError> for Stopped {
    fn from(error: PullError) -> Self {
        match error {
            PullError::Cancelled { .. } => Self::Cancelled,
            other => Self::Refused(other.to_string()),
        }
    }
}

/// `003 Ottilie But, Lee, I promise`, and the recorder behind it; `003.2` for the second
/// piece of a quote that lies in two files.
fn name(quote: &Quote, one: &Heard<'_>, piece: usize, is_backup: bool) -> String {
    let person = quote.person.as_deref().unwrap_or_default();
    let said: String = format!("{person} {}", quote.text)
        .trim()
        .chars()
        .take(NAME_CHARS)
        .collect();
    let kind = if is_backup { "backup " } else { "" };
    let piece = match piece {
        0 => String::new(),
        n => format!(".{n}"),
    };
    let (place, label) = (quote.place, &one.row.source_label);
    format!("{place:03}{piece} {said} - {kind}{label}")
}

/// A pull as what lists take from.
fn of_entry(one: &Heard<'_>, entry: &PullEntry) -> Media {
    let file_name = entry.path.rsplit('/').next().unwrap_or(&entry.path);
    let pulled = &entry.pulled;
    Media {
        id: one.row.id.0.clone(),
        label: one.row.source_label.clone(),
        placement: one.row.source_placement.to_string(),
        file_name: file_name.to_owned(),
        target_url: path_url(entry.path.as_ref()),
        sample_rate_hz: pulled.form.rate_hz,
        channels: pulled.form.channels,
        samples: pulled.frames,
        time_reference: pulled.time_reference,
        online: true,
    }
}
