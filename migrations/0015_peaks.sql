-- What recordings look like from afar.

-- How many bins of 10 ms a recording has; no row until it was listened through by a version
-- that makes them. Apart from `track`, in whose rows a number would lie behind megabytes.
CREATE TABLE waveform (
    recording_id TEXT PRIMARY KEY NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
    bins INTEGER NOT NULL CHECK (bins >= 0)
) STRICT, WITHOUT ROWID;

-- The bins themselves, 4,096 a tile, as `sayback_core::signal::peaks` makes them.
CREATE TABLE peaks (
    recording_id TEXT NOT NULL REFERENCES waveform (recording_id) ON DELETE CASCADE,
    -- 0 is the finest.
    level INTEGER NOT NULL CHECK (level BETWEEN 0 AND 5),
    tile INTEGER NOT NULL CHECK (tile >= 0),
    body BLOB NOT NULL,
    UNIQUE (recording_id, level, tile)
) STRICT;
