-- Sound lies where the clock says; nothing ever measured a shift of its own.
ALTER TABLE hearing DROP COLUMN shift_ms;
