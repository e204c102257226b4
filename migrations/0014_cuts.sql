-- Cut lists: words that somebody picked, in an order.
--
-- A quote is about sound, as a telling is: it says where it lies in the files that had
-- it, so that it stays whatever moments are found there, whatever is put right in their
-- words, and wherever the clock is put. No other row can take it away but its list.

CREATE TABLE cut (
    id TEXT PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- One of a name an event, so that it can be called by it.
    name TEXT NOT NULL CONSTRAINT cut_name_is_blank CHECK (length(trim(name)) > 0),
    note TEXT NOT NULL DEFAULT '' CONSTRAINT cut_note_is_too_long CHECK (length(note) <= 10000),
    -- Raised by every change to the list or a quote of it; a change says of which
    -- version it is one.
    version INTEGER NOT NULL DEFAULT 1,
    created_at_ms INTEGER NOT NULL,
    changed_at_ms INTEGER NOT NULL,
    CONSTRAINT cut_name_is_taken UNIQUE (event_id, name)
) STRICT;

CREATE TABLE quote (
    id TEXT PRIMARY KEY NOT NULL,
    cut_id TEXT NOT NULL REFERENCES cut (id) ON DELETE CASCADE,
    -- From 1 without gaps; all places of a list are written together.
    place INTEGER NOT NULL CHECK (place > 0),
    -- Where it was picked. A moment that is no more may come back, so that the id is no
    -- reference.
    moment_id TEXT,
    -- The words as they were then, joined by spaces; '' where none stood.
    text TEXT NOT NULL,
    -- Who spoke, by the name of then.
    person TEXT,
    -- Where it lies in files, [[recording, start, end], …] in ms with fractions. The
    -- first is the file its words were timed in; its times hold as long as there is
    -- such a recording, then those of the next.
    lies TEXT NOT NULL CHECK (json_valid(lies)),
    -- Where that was on a clock when it was picked: all that is left once every
    -- recording above is removed. NULL where nothing was placed yet.
    island INTEGER,
    start_ms INTEGER,
    end_ms INTEGER,
    -- How much later than the picked words it begins and ends: ms, and frames at the
    -- event's rate, which are no whole ms.
    in_ms INTEGER NOT NULL DEFAULT 0,
    in_frames INTEGER NOT NULL DEFAULT 0,
    out_ms INTEGER NOT NULL DEFAULT 0,
    out_frames INTEGER NOT NULL DEFAULT 0,
    -- The recording to be heard, and how it is told of when it is gone; NULL for the
    -- best.
    hearing_id TEXT,
    hearing_name TEXT,
    -- So many backups are wanted; NULL for all.
    backups INTEGER CHECK (backups >= 0),
    note TEXT NOT NULL DEFAULT '' CONSTRAINT quote_note_is_too_long CHECK (length(note) <= 10000),
    CHECK ((island IS NULL) = (start_ms IS NULL) AND (island IS NULL) = (end_ms IS NULL)),
    CHECK ((hearing_id IS NULL) = (hearing_name IS NULL)),
    UNIQUE (cut_id, place)
) STRICT;

-- Lists as they were before a change.
CREATE TABLE cut_version (
    cut_id TEXT NOT NULL REFERENCES cut (id) ON DELETE CASCADE,
    version INTEGER NOT NULL,
    -- What somebody called it: such a one is kept for good. NULL where it was kept by
    -- itself.
    name TEXT CONSTRAINT cut_version_name_is_blank CHECK (length(trim(name)) > 0),
    -- What was about to be done to it, and when.
    before TEXT NOT NULL CHECK (before IN ('add', 'change', 'drop', 'keep', 'move', 'name',
        'nudge', 'restore')),
    at_ms INTEGER NOT NULL,
    quotes INTEGER NOT NULL,
    -- Name, note and quotes, as JSON; and its bytes.
    body TEXT NOT NULL CHECK (json_valid(body)),
    bytes INTEGER NOT NULL,
    PRIMARY KEY (cut_id, version)
) STRICT;
