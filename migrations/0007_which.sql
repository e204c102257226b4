-- Which source to use, and what has no backup.

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
