-- Recordings on one clock, and each stretch of speech once.
--
-- Rules as in 0001, and one more: a time on the event clock is named `event_ms`,
-- or stands in a table whose comment says so. Event times may be negative:
-- recordings that are added later may have begun before what was there.

-- Words belong to moments from now on, and segments are found once more with their
-- measures; see the queue below.
DROP TABLE segment_fts;
DROP TABLE word;
DROP TABLE segment;
UPDATE recording SET segment_count = NULL, speech_ms = NULL, word_count = 0, model = NULL;

-- 1 once the moments of its event were found with this recording among them.
ALTER TABLE recording ADD COLUMN grouped INTEGER NOT NULL DEFAULT 0 CHECK (grouped IN (0, 1));

-- A stretch of speech in one recording, half-open [start, end).
CREATE TABLE segment (
    id INTEGER PRIMARY KEY,
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    start_ms INTEGER NOT NULL CHECK (start_ms >= 0),
    end_ms INTEGER NOT NULL,
    level_dbfs REAL NOT NULL,
    snr_db REAL NOT NULL,
    -- Share of samples at flat tops, 0 to 1.
    clipped REAL NOT NULL,
    -- How reverberant it is, as `sayback_core::signal` measures it.
    reverb REAL NOT NULL,
    CHECK (end_ms > start_ms),
    UNIQUE (recording_id, start_ms)
) STRICT;

-- The band levels of a recording: what the clock is found by.
CREATE TABLE track (
    recording_id TEXT PRIMARY KEY NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    -- As `sayback_core::clock::Track::to_bytes` writes them, version inside.
    body BLOB NOT NULL
) STRICT;

-- The last solve of an event.
CREATE TABLE clock (
    event_id TEXT PRIMARY KEY NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- NULL until it was solved once.
    solved_at_ms INTEGER,
    -- 1 when a person asked for it to be solved from scratch.
    anew INTEGER NOT NULL DEFAULT 0 CHECK (anew IN (0, 1)),
    -- The recordings that were solved, as a JSON array of ids: warnings name them
    -- by their place in it.
    members TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(members)),
    -- What was odd about the event as a whole, typed, as a JSON array.
    warnings TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(warnings))
) STRICT;

-- Where a recording lies on the clock of its island; island 0 is the event clock.
CREATE TABLE placement (
    recording_id TEXT PRIMARY KEY NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    island INTEGER NOT NULL CHECK (island >= 0),
    -- `sayback_core::clock::Placement` as JSON.
    pieces TEXT NOT NULL CHECK (json_valid(pieces)),
    how TEXT NOT NULL CHECK (how IN ('sound', 'joined', 'stamp', 'by_hand', 'unplaced')),
    -- 95 % of it, ms; NULL where nothing is known about it.
    uncertainty_ms REAL,
    -- Share of the measured points that agree, 0 to 1.
    agreement REAL,
    residual_ms REAL,
    points INTEGER NOT NULL DEFAULT 0,
    -- What was odd, typed, as a JSON array; see `clock.members`.
    warnings TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(warnings))
) STRICT;

-- What two recordings of an event share, so that it is measured once.
CREATE TABLE pair (
    a_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    b_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    -- `sayback_core::clock::Pair` as JSON, seen from a, and the version of its
    -- making: what another version measured is measured again.
    version INTEGER NOT NULL,
    body TEXT NOT NULL CHECK (json_valid(body)),
    PRIMARY KEY (a_id, b_id)
) STRICT, WITHOUT ROWID;

CREATE INDEX pair_by_second ON pair (b_id);

-- What a person says about the place of a recording: either when it starts on the
-- event clock, or an instant of it that is the same as an instant of another.
CREATE TABLE clock_fix (
    recording_id TEXT PRIMARY KEY NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    event_ms REAL,
    file_ms REAL,
    other_id TEXT REFERENCES recording (id) ON DELETE CASCADE,
    other_ms REAL,
    CONSTRAINT clock_fix_says_one_thing
        CHECK ((event_ms IS NULL) = (other_id IS NOT NULL)
               AND (other_id IS NULL) = (file_ms IS NULL)
               AND (other_id IS NULL) = (other_ms IS NULL)),
    CONSTRAINT clock_fix_is_to_itself CHECK (other_id <> recording_id)
) STRICT;

CREATE INDEX clock_fix_by_other ON clock_fix (other_id);

-- A stretch of speech, heard by one recording or by several. Its times are on the
-- clock of its island.
CREATE TABLE moment (
    -- The row of the search index.
    no INTEGER PRIMARY KEY,
    -- A UUIDv7. Kept for good once the moment has words.
    id TEXT NOT NULL UNIQUE,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    island INTEGER NOT NULL CHECK (island >= 0),
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    -- Whose file the word times are in.
    words_from TEXT REFERENCES recording (id) ON DELETE SET NULL,
    -- Which model heard them.
    model TEXT,
    -- Why the words should not be trusted as they are; NULL when they may be.
    doubt TEXT,
    -- Why these words and not those of another hearing.
    why TEXT,
    -- The words joined by spaces; NULL until listened to, '' when none were heard.
    text TEXT,
    word_count INTEGER NOT NULL DEFAULT 0,
    CHECK (end_ms > start_ms)
) STRICT;

CREATE INDEX moment_by_event ON moment (event_id, island, start_ms);
CREATE INDEX moment_unheard ON moment (event_id) WHERE text IS NULL;
CREATE INDEX moment_by_words_from ON moment (words_from);

-- One recording's copy of a moment. Times are in its file.
CREATE TABLE hearing (
    moment_id TEXT NOT NULL REFERENCES moment (id) ON DELETE CASCADE,
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    -- Rank, from 1; what was heard comes before what was not.
    n INTEGER NOT NULL,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    -- 0: below the recording's own noise there.
    heard INTEGER NOT NULL CHECK (heard IN (0, 1)),
    level_dbfs REAL NOT NULL,
    snr_db REAL NOT NULL,
    clipped REAL NOT NULL,
    reverb REAL NOT NULL,
    score REAL NOT NULL,
    -- The reasons for its rank, as a JSON array of sentences.
    why TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(why)),
    -- How much later than by the clock its sound is, ms.
    shift_ms REAL NOT NULL DEFAULT 0,
    -- Whether the model is to listen to it: 1 as the first choice, 2 as a second
    -- try; it stays so when that is done.
    wanted INTEGER NOT NULL DEFAULT 0 CHECK (wanted IN (0, 1, 2)),
    -- Those that are packed into windows together have one number, so that after a
    -- kill the same windows are made again.
    batch INTEGER,
    PRIMARY KEY (moment_id, recording_id)
) STRICT, WITHOUT ROWID;

CREATE INDEX hearing_by_recording ON hearing (recording_id, start_ms);
CREATE INDEX hearing_wanted ON hearing (recording_id, batch) WHERE wanted > 0;

-- What a model made of a hearing.
CREATE TABLE attempt (
    moment_id TEXT NOT NULL REFERENCES moment (id) ON DELETE CASCADE,
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    model TEXT NOT NULL,
    -- [[text, start_ms, end_ms, confidence], …] in the time of its file.
    words TEXT NOT NULL CHECK (json_valid(words)),
    PRIMARY KEY (moment_id, recording_id)
) STRICT, WITHOUT ROWID;

CREATE INDEX attempt_by_recording ON attempt (recording_id);

-- A word of a moment, at its time in the file of `moment.words_from`.
CREATE TABLE word (
    moment_id TEXT NOT NULL REFERENCES moment (id) ON DELETE CASCADE,
    n INTEGER NOT NULL,
    text TEXT NOT NULL,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    confidence REAL NOT NULL CHECK (confidence BETWEEN 0 AND 1),
    CHECK (end_ms >= start_ms),
    PRIMARY KEY (moment_id, n)
) STRICT, WITHOUT ROWID;

-- Full-text index over the normal forms of a moment's words; rowid is moment.no.
-- The tokens are normal forms already, so the tokenizer only has to split at
-- spaces: every category but separators (Z) belongs to a token.
CREATE VIRTUAL TABLE moment_fts USING fts5 (
    normal,
    content = '',
    contentless_delete = 1,
    tokenize = "unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'",
    prefix = '2 3'
);

-- The index is no table that a reference can hold in step.
CREATE TRIGGER moment_leaves_the_index AFTER DELETE ON moment BEGIN
    DELETE FROM moment_fts WHERE rowid = old.no;
END;

-- A moment that nobody hears any more is none.
CREATE TRIGGER moment_without_hearing AFTER DELETE ON hearing
WHEN NOT EXISTS (SELECT 1 FROM hearing WHERE moment_id = old.moment_id) BEGIN
    DELETE FROM moment WHERE id = old.moment_id;
END;

-- Word times in a file that is gone mean nothing.
CREATE TRIGGER moment_loses_its_words AFTER UPDATE OF words_from ON moment
WHEN old.words_from IS NOT NULL AND new.words_from IS NULL BEGIN
    DELETE FROM word WHERE moment_id = old.id;
    DELETE FROM moment_fts WHERE rowid = old.no;
    UPDATE moment SET text = NULL, model = NULL, doubt = NULL, why = NULL, word_count = 0
        WHERE no = old.no;
END;

-- The queue, with the steps of a whole event. Their subject is the event.
CREATE TABLE job_new (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('probe', 'detect', 'align', 'group', 'transcribe')),
    -- The intake of a probe, the event of align and group, else the recording.
    subject TEXT NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- Which workers may take it: the model is loaded once and works alone.
    lane TEXT NOT NULL AS (CASE kind WHEN 'transcribe' THEN 'model' ELSE 'light' END),
    -- Later steps first: an event is finished before the next is begun.
    rank INTEGER NOT NULL
        AS (CASE kind WHEN 'transcribe' THEN 5 WHEN 'group' THEN 4 WHEN 'align' THEN 3
            WHEN 'detect' THEN 2 ELSE 1 END),
    state TEXT NOT NULL DEFAULT 'ready'
        CHECK (state IN ('ready', 'running', 'done', 'failed', 'cancelled')),
    -- 1 when it was asked for again while running: it runs once more afterwards.
    again INTEGER NOT NULL DEFAULT 0 CHECK (again IN (0, 1)),
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
    CHECK ((lease_owner IS NULL) = (lease_until_ms IS NULL)),
    CHECK (again = 0 OR state = 'running')
) STRICT;

-- Files are opened already or wait to be. Speech is looked for once more in every
-- recording, for what is written with it now; what failed or was stopped stays so
-- until somebody has it tried again. Words that a person did not want stay unwanted.
INSERT INTO job_new (id, kind, subject, event_id, state, priority, not_before_ms, attempts,
        interruptions, lease_owner, lease_until_ms, progress, audio_ms, started_ms, finished_ms,
        error)
    SELECT id, kind, subject, event_id, state, priority, not_before_ms, attempts,
        interruptions, lease_owner, lease_until_ms, progress, audio_ms, started_ms, finished_ms,
        error
    FROM job WHERE kind = 'probe'
        OR (kind = 'detect' AND state IN ('failed', 'cancelled'))
        OR (kind = 'transcribe' AND state = 'cancelled')
    UNION ALL
    SELECT id, kind, subject, event_id, 'ready', priority, 0, 0, 0, NULL, NULL, 0, audio_ms,
        started_ms, NULL, NULL
    FROM job WHERE kind = 'detect' AND state IN ('ready', 'running', 'done');
DROP TABLE job;
ALTER TABLE job_new RENAME TO job;

-- Claiming reads the head of one event's waiting jobs.
CREATE INDEX job_ready ON job (lane, event_id, priority DESC, interruptions, rank DESC, id)
    WHERE state = 'ready';
-- Fairness: which event was served last; rates: what was finished last.
CREATE INDEX job_started ON job (lane, event_id, started_ms);
CREATE INDEX job_finished ON job (kind, finished_ms) WHERE state = 'done';
CREATE INDEX job_running ON job (lease_until_ms) WHERE state = 'running';
-- Which steps of an event are left: later ones wait for them.
CREATE INDEX job_open ON job (event_id, kind, state) WHERE state IN ('ready', 'running');
CREATE INDEX job_by_event ON job (event_id, state);
CREATE INDEX job_by_subject ON job (subject);
