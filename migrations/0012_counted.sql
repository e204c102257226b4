-- How many words an event has is asked with every list of events: without a look at each
-- of its moments.
CREATE INDEX moment_counted ON moment (event_id, word_count);
