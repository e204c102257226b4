-- The written texts of an event: letters, vows, readings.
--
-- Only what was written is kept. Where it was said is worked out when it is asked for,
-- from the words as they are then, so that a correction counts at once.

CREATE TABLE script (
    id TEXT PRIMARY KEY,
    event_id TEXT NOT NULL REFERENCES event (id) ON DELETE CASCADE,
    title TEXT NOT NULL CONSTRAINT script_title_is_blank CHECK (length(trim(title)) > 0),
    text TEXT NOT NULL CONSTRAINT script_text_is_too_long CHECK (length(text) <= 200000),
    -- The name of the part it stands for; a part is written as a whole with all others,
    -- so that nothing can refer to its row.
    part TEXT,
    created_at_ms INTEGER NOT NULL,
    -- Raised by every change; a change says of which version it is one.
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE INDEX script_by_event ON script (event_id);
