-- The first shape of a data folder.
--
-- Rules that hold for every table:
-- - STRICT, so that a number is never silently kept as text.
-- - Times are integers in milliseconds, `_ms` in the name. `created_at_ms` and
--   the queue's times count from 1970 (UTC); `start_ms` and `end_ms` of sound
--   count from the first sample of the file.
-- - A constraint that a caller can break has a name; the store turns the name
--   into an error that says what to do.
-- - What can be worked out from other rows is not written a second time. The
--   state of a recording and of an intake is read from its jobs.

-- One shoot. Its id is a UUIDv7, so ids sort by age.
CREATE TABLE event (
    id TEXT PRIMARY KEY NOT NULL,
    -- What people call it. Not unique: two Saturdays may hold 'Wedding'.
    title TEXT NOT NULL
        CONSTRAINT event_title_is_blank CHECK (length(trim(title)) > 0),
    -- The calendar day as the crew writes it; unknown is allowed. Kept as text
    -- because it has no time zone.
    date TEXT
        CONSTRAINT event_date_is_no_day
        CHECK (date IS NULL OR strftime('%Y-%m-%d', date) IS date),
    -- Frames a second of the edit, as a whole number or a fraction
    -- ('25', '30000/1001'): 29.97 has no exact decimal form.
    frame_rate TEXT
        CONSTRAINT event_frame_rate_is_no_fraction
        CHECK (frame_rate IS NULL
               OR (frame_rate GLOB '[1-9]*' AND frame_rate NOT GLOB '*[^0-9/]*'
                   AND frame_rate NOT GLOB '*/*/*' AND frame_rate NOT GLOB '*/0*'
                   AND frame_rate NOT GLOB '*/')),
    created_at_ms INTEGER NOT NULL
) STRICT;

-- Someone who speaks in the event. A person belongs to one event: two events
-- may each have an Anna who never met.
CREATE TABLE person (
    id TEXT PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    name TEXT NOT NULL
        CONSTRAINT person_name_is_blank CHECK (length(trim(name)) > 0),
    CONSTRAINT person_name_is_taken UNIQUE (event_id, name)
) STRICT;

-- One recorder as it was placed.
CREATE TABLE source (
    id TEXT PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- What the crew calls it; the name by which `add` finds it again.
    label TEXT NOT NULL
        CONSTRAINT source_label_is_blank CHECK (length(trim(label)) > 0),
    placement TEXT NOT NULL
        CONSTRAINT source_placement_is_unknown
        CHECK (placement IN ('worn', 'feed', 'stand', 'ambient', 'camera')),
    -- Who wears it, when somebody does and it is known.
    wearer_id TEXT REFERENCES person (id) ON DELETE SET NULL,
    -- 1 while recordings came in whose takes are not worked out yet. Takes are
    -- worked out once a source has no file left to open, not after each file.
    takes_stale INTEGER NOT NULL DEFAULT 0 CHECK (takes_stale IN (0, 1)),
    CONSTRAINT source_label_is_taken UNIQUE (event_id, label)
) STRICT;

-- Sound as bytes, named by what is in it. The same bytes in two events are one
-- row; a file that was moved keeps its row and gets a new path.
CREATE TABLE file (
    -- BLAKE3 of the whole content, 64 lower-case hexadecimal digits.
    hash TEXT PRIMARY KEY NOT NULL CHECK (length(hash) = 64),
    -- Where it was last seen, as bytes: a file name need not be UTF-8.
    path BLOB NOT NULL,
    -- The last part of the path for people, control characters made visible.
    name TEXT NOT NULL,
    -- Bytes and change time (ns since 1970) when it was read: how a later step
    -- notices that other bytes lie there now, without reading them all.
    size INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    -- What the decoder found.
    container TEXT NOT NULL,
    codec TEXT NOT NULL,
    media_type TEXT NOT NULL,
    rate_hz INTEGER NOT NULL CHECK (rate_hz > 0),
    channels INTEGER NOT NULL CHECK (channels > 0),
    bits INTEGER,
    frames INTEGER NOT NULL CHECK (frames >= 0),
    duration_ms INTEGER NOT NULL CHECK (duration_ms >= 0),
    -- What was odd about it, as a JSON array of sentences.
    warnings TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(warnings))
) STRICT;

-- `add` asks 'is this path known?' once for each file of a folder.
CREATE INDEX file_by_path ON file (path);

-- When a device says it recorded, each kind kept beside the others: they
-- disagree, and which one to believe is decided later.
CREATE TABLE stamp (
    file_hash TEXT NOT NULL REFERENCES file (hash) ON DELETE CASCADE,
    n INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('bext', 'ixml', 'container', 'file')),
    -- RFC 3339; local time without a zone where the device does not say one.
    at TEXT NOT NULL,
    -- Samples since midnight and their rate, where the stamp has them.
    samples INTEGER,
    rate_hz INTEGER,
    frame_rate TEXT,
    PRIMARY KEY (file_hash, n)
) STRICT, WITHOUT ROWID;

-- One path or upload that somebody added. It is kept when the file could not be
-- opened, so that nobody has to wonder where a file went.
CREATE TABLE intake (
    id TEXT PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    source_id TEXT NOT NULL REFERENCES source (id) ON DELETE CASCADE,
    path BLOB NOT NULL,
    name TEXT NOT NULL,
    -- What the caller asked for: auto, mix, split or a channel number.
    choice TEXT NOT NULL,
    -- Bytes and change time (ns since 1970) when it was added: by these it is
    -- told that adding it once more changes nothing.
    size INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    -- Set once the file was opened; the proof that this intake is finished.
    file_hash TEXT REFERENCES file (hash),
    -- A remark for people, such as 'the same sound as …, already there'.
    note TEXT,
    created_at_ms INTEGER NOT NULL
) STRICT;

-- Adding a folder twice must not queue its files twice.
CREATE INDEX intake_by_path ON intake (event_id, path);

-- One file, or one channel of a file, of a source.
CREATE TABLE recording (
    -- 'r' and the first 16 hexadecimal digits of BLAKE3 over event, content
    -- hash and pick: the same sound added again is the same row.
    id TEXT PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    source_id TEXT NOT NULL REFERENCES source (id) ON DELETE CASCADE,
    file_hash TEXT NOT NULL REFERENCES file (hash),
    -- Which channel this recording holds: 'mix' or a number from 1.
    pick TEXT NOT NULL,
    -- Why these channels, in words.
    channels_why TEXT NOT NULL,
    -- The long take this file is a piece of: the id of its first piece; the
    -- place in it from 1, and how many pieces. NULL until worked out.
    take_id TEXT,
    take_order INTEGER,
    take_of INTEGER,
    -- Written with the detector's segments; NULL says not detected yet.
    segment_count INTEGER,
    speech_ms INTEGER,
    -- Words written so far, and by which model. Another model starts over.
    word_count INTEGER NOT NULL DEFAULT 0,
    model TEXT,
    CONSTRAINT recording_is_there UNIQUE (event_id, file_hash, pick)
) STRICT;

CREATE INDEX recording_by_source ON recording (source_id);
CREATE INDEX recording_by_file ON recording (file_hash);

-- A stretch of speech in one recording, half-open [start, end).
CREATE TABLE segment (
    id INTEGER PRIMARY KEY,
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    start_ms INTEGER NOT NULL CHECK (start_ms >= 0),
    end_ms INTEGER NOT NULL,
    level_dbfs REAL NOT NULL,
    snr_db REAL NOT NULL,
    -- The words joined by spaces; NULL until the first of them is written, ''
    -- when the model heard none.
    text TEXT,
    CHECK (end_ms > start_ms),
    UNIQUE (recording_id, start_ms)
) STRICT;

-- A word of a segment. Its times bound the sound of the word in the file.
CREATE TABLE word (
    segment_id INTEGER NOT NULL REFERENCES segment (id) ON DELETE CASCADE,
    n INTEGER NOT NULL,
    text TEXT NOT NULL,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    confidence REAL NOT NULL CHECK (confidence BETWEEN 0 AND 1),
    CHECK (end_ms >= start_ms),
    PRIMARY KEY (segment_id, n)
) STRICT, WITHOUT ROWID;

-- Full-text index over the normal forms of a segment's words, one token for each
-- part of a word ('half-remembered' has two); rowid is segment.id. Only the index
-- is kept, not a second copy of the text. The tokens are normal forms already, so
-- the tokenizer only has to split at spaces: every category but separators (Z)
-- belongs to a token.
CREATE VIRTUAL TABLE segment_fts USING fts5 (
    normal,
    content = '',
    contentless_delete = 1,
    tokenize = "unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'",
    prefix = '2 3'
);

-- The queue. One row a step and subject, for ever: the row is also the record of
-- what was done, and its uniqueness is why nothing is done twice.
CREATE TABLE job (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('probe', 'detect', 'transcribe', 'index')),
    -- The intake of a probe, the recording of every other step.
    subject TEXT NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- Which workers may take it: the model is loaded once and works alone.
    lane TEXT NOT NULL AS (CASE kind WHEN 'transcribe' THEN 'model' ELSE 'light' END),
    -- Later steps first: a file is finished before the next is begun, so that
    -- the first lines can be found early and the model is never left waiting.
    rank INTEGER NOT NULL
        AS (CASE kind WHEN 'index' THEN 4 WHEN 'transcribe' THEN 3 WHEN 'detect' THEN 2 ELSE 1 END),
    state TEXT NOT NULL DEFAULT 'ready'
        CHECK (state IN ('ready', 'running', 'done', 'failed', 'cancelled')),
    -- Higher goes first; what a person looks at is raised above everything.
    priority INTEGER NOT NULL DEFAULT 0,
    -- Not to be taken before (after a failure that may pass).
    not_before_ms INTEGER NOT NULL DEFAULT 0,
    -- Failures so far. Being killed is no failure of the work; it is counted
    -- apart, with a limit of its own, against a file that takes the program down:
    -- such a job goes behind the others, and is given up in the end.
    attempts INTEGER NOT NULL DEFAULT 0,
    interruptions INTEGER NOT NULL DEFAULT 0,
    -- Who works on it, under which claim, and until when that is believed.
    lease_owner TEXT,
    lease_until_ms INTEGER,
    -- 0 to 1 within the step; windows finished of all windows for 'transcribe'.
    progress REAL NOT NULL DEFAULT 0,
    -- `progress` when it was last claimed: only what came since took the time
    -- since then.
    begun REAL NOT NULL DEFAULT 0,
    cursor INTEGER NOT NULL DEFAULT 0,
    windows INTEGER,
    -- How much sound the step works on, for rates and time left; NULL if unknown.
    audio_ms INTEGER,
    started_ms INTEGER,
    finished_ms INTEGER,
    -- The last error in words, kept while the job is tried again.
    error TEXT,
    CONSTRAINT job_is_queued UNIQUE (kind, subject),
    -- Held by somebody exactly while running.
    CHECK ((state = 'running') = (lease_owner IS NOT NULL)),
    CHECK ((lease_owner IS NULL) = (lease_until_ms IS NULL))
) STRICT;

-- Claiming reads the head of one event's waiting jobs.
CREATE INDEX job_ready ON job (lane, event_id, priority DESC, interruptions, rank DESC, id)
    WHERE state = 'ready';
-- Fairness: which event was served last; rates: what was finished last.
CREATE INDEX job_started ON job (lane, event_id, started_ms);
CREATE INDEX job_finished ON job (kind, finished_ms) WHERE state = 'done';
CREATE INDEX job_running ON job (lease_until_ms) WHERE state = 'running';
CREATE INDEX job_by_event ON job (event_id, state);
CREATE INDEX job_by_subject ON job (subject);

-- What the whole data folder remembers, such as whether the queue is paused.
CREATE TABLE setting (
    name TEXT PRIMARY KEY NOT NULL,
    value TEXT NOT NULL
) STRICT;
