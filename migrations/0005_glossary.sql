-- What the people, places and pets of an event are called, and what is spoken there.
--
-- Both lists are read and written as a whole, in the order given: the order says
-- which names matter most where not all fit.

ALTER TABLE event ADD COLUMN glossary TEXT NOT NULL DEFAULT '[]'
    CONSTRAINT event_glossary_is_no_list CHECK (json_type(glossary) = 'array');

-- Codes of ISO 639-1; none where every language that the model knows may be spoken.
ALTER TABLE event ADD COLUMN languages TEXT NOT NULL DEFAULT '[]'
    CONSTRAINT event_languages_is_no_list CHECK (json_type(languages) = 'array');

-- What the model wrote where a name of the glossary stands now: the first word of the
-- name has it all, those after it ''. NULL for a word that stands as it was heard.
ALTER TABLE word ADD COLUMN heard TEXT;

-- The language it was heard in; NULL for words written by an earlier version.
ALTER TABLE word ADD COLUMN language TEXT;
