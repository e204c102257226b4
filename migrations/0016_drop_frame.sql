-- Frames of an event may be counted with labels left out (SMPTE ST 12-1): the same
-- rate, other labels. The rate itself stays the fraction that it was.

ALTER TABLE event ADD COLUMN drop_frame INTEGER NOT NULL DEFAULT 0
    CHECK (drop_frame IN (0, 1));
