-- Who said it, which source to use, and what has no backup.

-- A named stretch of an event, on the event clock. A list is written as a whole.
CREATE TABLE part (
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- In the order given.
    n INTEGER NOT NULL,
    name TEXT NOT NULL CONSTRAINT part_name_is_blank CHECK (length(trim(name)) > 0),
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    -- 1 where what is said can't be repeated, so that two sources must have it.
    required INTEGER NOT NULL CHECK (required IN (0, 1)),
    CONSTRAINT part_is_empty CHECK (end_ms > start_ms),
    PRIMARY KEY (event_id, n),
    CONSTRAINT part_name_is_taken UNIQUE (event_id, name)
) STRICT, WITHOUT ROWID;

-- How usable a hearing is, in a word. What an earlier version wrote is judged as it was
-- told then, until its recording is listened through again.
ALTER TABLE hearing ADD COLUMN verdict TEXT NOT NULL DEFAULT 'poor'
    CHECK (verdict IN ('clean', 'usable', 'poor', 'lost'));
UPDATE hearing SET verdict = CASE WHEN heard = 0 THEN 'lost' WHEN snr_db >= 20 THEN 'clean'
    WHEN snr_db >= 10 THEN 'usable' ELSE 'poor' END;

-- What is measured is more now. Recordings are listened through once more when the
-- program starts and finds their files.
UPDATE track SET quality = NULL;

-- What somebody is at the event: the bride's father, the officiant.
ALTER TABLE person ADD COLUMN role TEXT
    CONSTRAINT person_role_is_blank CHECK (role IS NULL OR length(trim(role)) > 0);
-- 1 for somebody who was found by their voice and whom nobody has named yet.
ALTER TABLE person ADD COLUMN unnamed INTEGER NOT NULL DEFAULT 0 CHECK (unnamed IN (0, 1));
-- What their voice is like, as `sayback_core::voices::Voice` writes it: biometric data,
-- of no use outside of the event and deleted with the person.
ALTER TABLE person ADD COLUMN voice BLOB;

-- Who wears a source from an instant of the event clock on; until the first of these it
-- is `source.wearer_id`. NULL says nobody.
CREATE TABLE wearing (
    source_id TEXT NOT NULL REFERENCES source (id) ON DELETE CASCADE,
    from_ms INTEGER NOT NULL,
    person_id TEXT REFERENCES person (id) ON DELETE SET NULL,
    PRIMARY KEY (source_id, from_ms)
) STRICT, WITHOUT ROWID;

CREATE INDEX wearing_by_person ON wearing (person_id);
CREATE INDEX source_by_wearer ON source (wearer_id);

-- Who speaks in a moment, and when: times are on the clock of its island.
CREATE TABLE spoken (
    moment_id TEXT NOT NULL REFERENCES moment (id) ON DELETE CASCADE,
    -- 1 for who speaks most; others speak at the same time.
    n INTEGER NOT NULL,
    person_id TEXT NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    certainty REAL NOT NULL CHECK (certainty BETWEEN 0 AND 1),
    -- What that rests on, in words.
    why TEXT NOT NULL,
    -- 1 where a person said so.
    by_hand INTEGER NOT NULL DEFAULT 0 CHECK (by_hand IN (0, 1)),
    PRIMARY KEY (moment_id, n)
) STRICT, WITHOUT ROWID;

CREATE INDEX spoken_by_person ON spoken (person_id);

-- The queue, with the step that finds who speaks.
CREATE TABLE job_new (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL
        CHECK (kind IN ('probe', 'detect', 'align', 'group', 'transcribe', 'voices')),
    -- The intake of a probe, the event of align, group and voices, else the recording.
    subject TEXT NOT NULL,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    -- Which workers may take it: the model is loaded once and works alone.
    lane TEXT NOT NULL AS (CASE kind WHEN 'transcribe' THEN 'model' ELSE 'light' END),
    -- Later steps first: an event is finished before the next is begun.
    rank INTEGER NOT NULL
        AS (CASE kind WHEN 'voices' THEN 6 WHEN 'transcribe' THEN 5 WHEN 'group' THEN 4
            WHEN 'align' THEN 3 WHEN 'detect' THEN 2 ELSE 1 END),
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

INSERT INTO job_new (id, kind, subject, event_id, state, again, priority, not_before_ms, attempts,
        interruptions, lease_owner, lease_until_ms, progress, begun, cursor, windows, audio_ms,
        started_ms, finished_ms, error)
    SELECT id, kind, subject, event_id, state, again, priority, not_before_ms, attempts,
        interruptions, lease_owner, lease_until_ms, progress, begun, cursor, windows, audio_ms,
        started_ms, finished_ms, error
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
