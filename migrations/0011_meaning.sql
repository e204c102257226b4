-- Search by meaning.

-- Where the text of a moment points, among texts: what was said near to a question is
-- found by it. It is gone with the moment, and while its words are others than it was
-- found for.
CREATE TABLE meaning (
    moment_no INTEGER PRIMARY KEY REFERENCES moment (no) ON DELETE CASCADE,
    -- The moment's.
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- Of the model and the text: the moment's own words and some around them.
    fingerprint BLOB NOT NULL CHECK (length(fingerprint) = 16),
    -- As `sayback_core::meaning::Meaning::to_bytes` writes it.
    vector BLOB NOT NULL CHECK (length(vector) = 388)
) STRICT;

CREATE INDEX meaning_by_event ON meaning (event_id);

CREATE TRIGGER moment_means_something_else AFTER UPDATE OF text ON moment
WHEN new.text IS NOT old.text BEGIN
    DELETE FROM meaning WHERE moment_no = old.no;
END;

-- The queue, with one step more. Columns as in 0002.
CREATE TABLE job_new (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL
        CHECK (kind IN ('probe', 'detect', 'align', 'group', 'transcribe', 'voices', 'meaning')),
    subject TEXT NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    lane TEXT NOT NULL AS (CASE kind WHEN 'transcribe' THEN 'model' ELSE 'light' END),
    rank INTEGER NOT NULL
        AS (CASE kind WHEN 'meaning' THEN 7 WHEN 'voices' THEN 6 WHEN 'transcribe' THEN 5 WHEN 'group' THEN 4
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
