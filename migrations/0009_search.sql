-- Search that forgives: what was said in each moment as the index holds it, what is
-- known of it that one can look for, and every word there is.

DROP TRIGGER moment_leaves_the_index;
DROP TRIGGER moment_loses_its_words;
DROP TABLE moment_fts;

-- A moment with words, as it is searched. Kept beside the words themselves so that a
-- row can be taken out of the index, compared with it, and looked at closely, without
-- putting hundreds of rows of words together.
CREATE TABLE said (
    no INTEGER PRIMARY KEY REFERENCES moment (no) ON DELETE CASCADE,
    -- A normal form for each word, parted by spaces; the parts of a joined word by
    -- hyphens; '_' for a word in which nothing is spoken.
    words TEXT NOT NULL,
    -- As many, of what else was heard in the place of each word.
    other TEXT NOT NULL,
    -- How sure each word is: a sign from '0' to ':' (ten).
    sure TEXT NOT NULL,
    -- Event, people, language, sources, placements: see moment_facts.
    facts TEXT NOT NULL
) STRICT;

-- The tokens are normal forms already: only spaces and punctuation part them.
CREATE VIRTUAL TABLE said_fts USING fts5 (
    words, other, facts,
    content = 'said', content_rowid = 'no', columnsize = 0,
    tokenize = "unicode61 remove_diacritics 0 categories 'L* M* N* S* C*'"
);

-- Every word that is in the index, and in how many moments.
CREATE TABLE term (
    -- Never used twice, so that what is new has the highest.
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    text TEXT NOT NULL UNIQUE,
    moments INTEGER NOT NULL
) STRICT;

CREATE INDEX person_by_name ON person (name COLLATE NOCASE);
CREATE INDEX source_by_label ON source (label COLLATE NOCASE);
CREATE INDEX event_by_date ON event (date);

-- What one can look for beside words, each a letter and an id without hyphens: e event,
-- p who speaks, l language, s source that heard it, k its placement, b the best source,
-- j its placement, r1 where two sources have it well enough.
CREATE VIEW moment_facts AS SELECT m.no, 'e' || replace(m.event_id, '-', '')
    || coalesce(' p' || replace(m.person_id, '-', ''), '')
    || coalesce(' p' || replace(m.also_id, '-', ''), '')
    || coalesce(' l' || (SELECT w.language FROM word w WHERE w.moment_id = m.id
        GROUP BY w.language ORDER BY count(*) DESC, min(w.n) LIMIT 1), '')
    || coalesce((SELECT group_concat(' s' || replace(h.id, '-', '') || ' k' || h.placement, '')
        FROM (SELECT s.id, s.placement FROM hearing h JOIN recording r ON r.id = h.recording_id
                JOIN source s ON s.id = r.source_id
            WHERE h.moment_id = m.id AND h.heard = 1
            GROUP BY s.id ORDER BY min(h.n), s.id) h), '')
    || coalesce((SELECT ' b' || replace(s.id, '-', '') || ' j' || s.placement
        FROM hearing h JOIN recording r ON r.id = h.recording_id
            JOIN source s ON s.id = r.source_id
        WHERE h.moment_id = m.id AND h.heard = 1 ORDER BY h.n, h.recording_id LIMIT 1), '')
    || (SELECT ' r' || (count(DISTINCT r.source_id) > 1)
        FROM hearing h JOIN recording r ON r.id = h.recording_id
        WHERE h.moment_id = m.id AND h.heard = 1 AND h.verdict IN ('clean', 'usable'))
    AS facts
    FROM moment m;

-- The index and the list of words keep in step with what was said.
CREATE TRIGGER said_comes AFTER INSERT ON said BEGIN
    INSERT INTO said_fts (rowid, words, other, facts)
        VALUES (new.no, new.words, new.other, new.facts);
    INSERT INTO term (text, moments)
        SELECT DISTINCT value, 1 FROM json_each('["'
            || replace(replace(new.words || ' ' || new.other, '-', ' '), ' ', '","') || '"]')
        WHERE value NOT IN ('_', '')
        ON CONFLICT (text) DO UPDATE SET moments = moments + 1;
END;
CREATE TRIGGER said_goes AFTER DELETE ON said BEGIN
    INSERT INTO said_fts (said_fts, rowid, words, other, facts)
        VALUES ('delete', old.no, old.words, old.other, old.facts);
    UPDATE term SET moments = moments - 1 WHERE text IN (SELECT value FROM json_each('["'
        || replace(replace(old.words || ' ' || old.other, '-', ' '), ' ', '","') || '"]'));
    DELETE FROM term WHERE moments < 1 AND text IN (SELECT value FROM json_each('["'
        || replace(replace(old.words || ' ' || old.other, '-', ' '), ' ', '","') || '"]'));
END;
CREATE TRIGGER said_of_others AFTER UPDATE OF facts ON said BEGIN
    INSERT INTO said_fts (said_fts, rowid, words, other, facts)
        VALUES ('delete', old.no, old.words, old.other, old.facts);
    INSERT INTO said_fts (rowid, words, other, facts)
        VALUES (new.no, new.words, new.other, new.facts);
END;

-- What is known of a moment changes.
CREATE TRIGGER moment_is_of_others AFTER UPDATE OF person_id, also_id ON moment
WHEN (old.person_id, old.also_id) IS NOT (new.person_id, new.also_id) BEGIN
    UPDATE said SET facts = (SELECT f.facts FROM moment_facts f WHERE f.no = new.no)
        WHERE no = new.no
            AND facts IS NOT (SELECT f.facts FROM moment_facts f WHERE f.no = new.no);
END;
CREATE TRIGGER hearing_comes AFTER INSERT ON hearing BEGIN
    UPDATE said SET facts = (SELECT f.facts FROM moment_facts f WHERE f.no = said.no)
        WHERE no = (SELECT m.no FROM moment m WHERE m.id = new.moment_id)
            AND facts IS NOT (SELECT f.facts FROM moment_facts f WHERE f.no = said.no);
END;
CREATE TRIGGER hearing_changes AFTER UPDATE OF n, heard, verdict ON hearing
WHEN (old.n, old.heard, old.verdict) IS NOT (new.n, new.heard, new.verdict) BEGIN
    UPDATE said SET facts = (SELECT f.facts FROM moment_facts f WHERE f.no = said.no)
        WHERE no = (SELECT m.no FROM moment m WHERE m.id = new.moment_id)
            AND facts IS NOT (SELECT f.facts FROM moment_facts f WHERE f.no = said.no);
END;
CREATE TRIGGER hearing_goes AFTER DELETE ON hearing BEGIN
    UPDATE said SET facts = (SELECT f.facts FROM moment_facts f WHERE f.no = said.no)
        WHERE no = (SELECT m.no FROM moment m WHERE m.id = old.moment_id)
            AND facts IS NOT (SELECT f.facts FROM moment_facts f WHERE f.no = said.no);
END;

-- Word times in a file that is gone mean nothing.
CREATE TRIGGER moment_loses_its_words AFTER UPDATE OF words_from ON moment
WHEN old.words_from IS NOT NULL AND new.words_from IS NULL BEGIN
    DELETE FROM word WHERE moment_id = old.id;
    DELETE FROM said WHERE no = old.no;
    UPDATE moment SET text = NULL, model = NULL, doubt = NULL, why = NULL, word_count = 0
        WHERE no = old.no;
END;

-- Events whose words are still to be put into the index: normal forms are made by the
-- program.
CREATE TABLE unindexed (
    event_id TEXT PRIMARY KEY REFERENCES event (id) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
INSERT INTO unindexed SELECT DISTINCT event_id FROM moment WHERE word_count > 0;

-- Searches somebody wants to make again.
CREATE TABLE saved_search (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CONSTRAINT saved_search_name_is_blank CHECK (length(trim(name)) > 0),
    -- As its parameters are in an address.
    asked TEXT NOT NULL,
    created_at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
