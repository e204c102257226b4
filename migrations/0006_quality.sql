-- How loud a recording is, its peaks, clipped samples and digital silence, tenth of a
-- second by tenth: as `sayback_core::quality::Track::to_bytes` writes them, version
-- inside. NULL where an earlier version listened through it.
ALTER TABLE track ADD COLUMN quality BLOB;
