-- Who spoke, and who wore what.

-- What people call somebody's part in the day: 'bride', 'officiant'.
ALTER TABLE person ADD COLUMN role TEXT;
-- 1 for whoever was found by voice or microphone and nobody has named yet.
ALTER TABLE person ADD COLUMN unnamed INTEGER NOT NULL DEFAULT 0 CHECK (unnamed IN (0, 1));
-- The 1 of 'speaker 1'; NULL for everybody who was not found by voice.
ALTER TABLE person ADD COLUMN number INTEGER;
-- What their voice is like, as `sayback_core::voices::Voice::to_bytes` writes it.
-- Biometric data: it goes with the person, and when people say so.
ALTER TABLE person ADD COLUMN voice BLOB;

-- Who wears a source from an instant of the event clock on, in place of its first
-- wearer.
CREATE TABLE wearing (
    source_id TEXT NOT NULL REFERENCES source (id) ON DELETE CASCADE,
    from_ms INTEGER NOT NULL,
    person_id TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    PRIMARY KEY (source_id, from_ms)
) STRICT, WITHOUT ROWID;

CREATE INDEX wearing_by_person ON wearing (person_id);
CREATE INDEX source_by_wearer ON source (wearer_id) WHERE wearer_id IS NOT NULL;

-- What people say about who speaks. It is about sound, so that it stays whatever
-- moments are found there: times are in the file. Of two that overlap the later counts.
CREATE TABLE telling (
    id INTEGER PRIMARY KEY,
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    person_id TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    by TEXT NOT NULL CONSTRAINT telling_by_is_blank CHECK (length(trim(by)) > 0),
    at_ms INTEGER NOT NULL,
    CHECK (end_ms > start_ms)
) STRICT;

CREATE INDEX telling_by_recording ON telling (recording_id);
CREATE INDEX telling_by_person ON telling (person_id);

-- Who speaks in a moment; NULL where that is not known.
ALTER TABLE moment ADD COLUMN person_id TEXT REFERENCES person (id) ON DELETE SET NULL;
-- Who speaks at the same time.
ALTER TABLE moment ADD COLUMN also_id TEXT REFERENCES person (id) ON DELETE SET NULL;
-- How sure that is, 0 to 1; NULL until it was looked for.
ALTER TABLE moment ADD COLUMN certainty REAL CHECK (certainty BETWEEN 0 AND 1);
-- Why, in a few words.
ALTER TABLE moment ADD COLUMN person_why TEXT;

CREATE INDEX moment_by_person ON moment (person_id);
CREATE INDEX moment_by_also ON moment (also_id);

-- What was heard of voices in a stretch of a file, so that a name that is put right
-- teaches the rest without listening again. Biometric data, as above.
CREATE TABLE listened (
    recording_id TEXT NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    -- As `sayback_core::voices::Listened::to_bytes` writes it, version inside.
    body BLOB NOT NULL,
    PRIMARY KEY (recording_id, start_ms, end_ms)
) STRICT;

-- The queue, with one step more. Columns as in 0002.
CREATE TABLE job_new (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL
        CHECK (kind IN ('probe', 'detect', 'align', 'group', 'transcribe', 'voices')),
    subject TEXT NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    lane TEXT NOT NULL AS (CASE kind WHEN 'transcribe' THEN 'model' ELSE 'light' END),
    rank INTEGER NOT NULL
        AS (CASE kind WHEN 'voices' THEN 6 WHEN 'transcribe' THEN 5 WHEN 'group' THEN 4
            WHEN 'align' THEN 3 WHEN 'detect' THEN 2 ELSE 1 END),
    state TEXT NOT NULL DEFAULT 'ready'
        CHECK (state IN ('ready', 'running', 'done', 'failed', 'cancelled')),
    again INTEGER NOT NULL DEFAULT 0 CHECK (again IN (0, 1)),
    priority INTEGER NOT NULL DEFAULT 0,
    not_before_ms INTEGER NOT NULL DEFAULT 0,
    attempts INTEGER NOT NULL DEFAULT 0,
    interruptions INTEGER NOT NULL DEFAULT 0,
    lease_owner TEXT,
    lease_until_ms INTEGER,
    progress REAL NOT NULL DEFAULT 0,
    begun REAL NOT NULL DEFAULT 0,
    cursor INTEGER NOT NULL DEFAULT 0,
    windows INTEGER,
    audio_ms INTEGER,
    started_ms INTEGER,
    finished_ms INTEGER,
    error TEXT,
    CONSTRAINT job_is_queued UNIQUE (kind, subject),
    CHECK ((state = 'running') = (lease_owner IS NOT NULL)),
    CHECK ((lease_owner IS NULL) = (lease_until_ms IS NULL)),
    CHECK (again = 0 OR state = 'running')
) STRICT;

INSERT INTO job_new (id, kind, subject, event_id, state, again, priority, not_before_ms,
        attempts, interruptions, lease_owner, lease_until_ms, progress, begun, cursor, windows,
        audio_ms, started_ms, finished_ms, error)
    SELECT id, kind, subject, event_id, state, again, priority, not_before_ms,
        attempts, interruptions, lease_owner, lease_until_ms, progress, begun, cursor, windows,
        audio_ms, started_ms, finished_ms, error
    FROM job;
-- Nobody has asked yet who speaks in the events there are.
INSERT INTO job_new (kind, subject, event_id)
    SELECT 'voices', subject, event_id FROM job WHERE kind = 'group' AND state = 'done';
DROP TABLE job;
ALTER TABLE job_new RENAME TO job;

CREATE INDEX job_ready ON job (lane, event_id, priority DESC, interruptions, rank DESC, id)
    WHERE state = 'ready';
CREATE INDEX job_started ON job (lane, event_id, started_ms);
CREATE INDEX job_finished ON job (kind, finished_ms) WHERE state = 'done';
CREATE INDEX job_running ON job (lease_until_ms) WHERE state = 'running';
CREATE INDEX job_open ON job (event_id, kind, state) WHERE state IN ('ready', 'running');
CREATE INDEX job_by_event ON job (event_id, state);
CREATE INDEX job_by_subject ON job (subject);
