-- What people put right.
--
-- A moment that a person changed is theirs: a model's words go beside it (as
-- attempts, always), never over it, and finding moments anew leaves it as it is.

-- Raised whenever its text becomes another, and by everything a person does to it.
-- Who changes a moment says which version they have seen.
ALTER TABLE moment ADD COLUMN version INTEGER NOT NULL DEFAULT 1;

-- 1 once it is a person's.
ALTER TABLE moment ADD COLUMN by_hand INTEGER NOT NULL DEFAULT 0 CHECK (by_hand IN (0, 1));

-- Which stretch of the file of `words_from` it stands for, where that is more than
-- its own: a person made it shorter, and what was cut off is no speech of its own.
ALTER TABLE moment ADD COLUMN covers_from_ms INTEGER;
ALTER TABLE moment ADD COLUMN covers_to_ms INTEGER;

-- 1 for a word that a person wrote.
ALTER TABLE word ADD COLUMN by_hand INTEGER NOT NULL DEFAULT 0 CHECK (by_hand IN (0, 1));

-- Everything that people did to moments, oldest first; nothing of it is ever
-- changed. It goes with its event.
CREATE TABLE change (
    id INTEGER PRIMARY KEY,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    kind TEXT NOT NULL CHECK (kind IN ('words', 'join', 'split', 'times', 'undo')),
    -- Who, as they call themselves: there are no accounts.
    by TEXT NOT NULL CONSTRAINT change_by_is_blank CHECK (length(trim(by)) > 0),
    at_ms INTEGER NOT NULL,
    -- The moments it was about as they were and as they are now, as JSON arrays:
    -- more than one where moments are joined or split.
    before TEXT NOT NULL CHECK (json_valid(before)),
    after TEXT NOT NULL CHECK (json_valid(after))
) STRICT;

CREATE INDEX change_by_event ON change (event_id);

-- Which moment got which version by which change. A moment that was joined to another
-- is no more and may come back, so the id is no reference.
CREATE TABLE changed (
    moment_id TEXT NOT NULL,
    version INTEGER NOT NULL,
    change_id INTEGER NOT NULL REFERENCES change (id) ON DELETE CASCADE,
    PRIMARY KEY (moment_id, version)
) STRICT, WITHOUT ROWID;

CREATE INDEX changed_by_change ON changed (change_id);

-- A person's words outlive the recording they are timed in, as long as another has
-- the moment: the hearing that has most of it, the best first, takes the times. Both
-- hearings are the same stretch of the clock, so times keep their share of it.
CREATE TRIGGER recording_leaves_corrections BEFORE DELETE ON recording BEGIN
    UPDATE word SET (start_ms, end_ms) = (
            SELECT t.start_ms + (word.start_ms - f.start_ms) * (t.end_ms - t.start_ms)
                    / (f.end_ms - f.start_ms),
                t.start_ms + (word.end_ms - f.start_ms) * (t.end_ms - t.start_ms)
                    / (f.end_ms - f.start_ms)
            FROM hearing f JOIN hearing t ON t.moment_id = f.moment_id
            WHERE f.moment_id = word.moment_id AND f.recording_id = old.id
                AND t.recording_id <> old.id
            ORDER BY t.heard DESC, (t.end_ms - t.start_ms + 5) / 10 DESC, t.n, t.recording_id
            LIMIT 1)
        WHERE moment_id IN (SELECT m.id FROM moment m JOIN hearing h ON h.moment_id = m.id
            WHERE m.words_from = old.id AND m.by_hand = 1 AND h.recording_id <> old.id);
    UPDATE moment SET covers_from_ms = NULL, covers_to_ms = NULL, words_from = (
            SELECT t.recording_id FROM hearing t
            WHERE t.moment_id = moment.id AND t.recording_id <> old.id
            ORDER BY t.heard DESC, (t.end_ms - t.start_ms + 5) / 10 DESC, t.n, t.recording_id
            LIMIT 1)
        WHERE words_from = old.id AND by_hand = 1;
END;
