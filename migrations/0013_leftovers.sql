-- What events leave behind, and what is put right late.

-- Which events have such a part, and which still have a file.
CREATE INDEX part_by_name ON part (name);
CREATE INDEX intake_by_file ON intake (file_hash);

-- Where a source stood is put right after its moments were found.

CREATE TRIGGER source_stands_elsewhere AFTER UPDATE OF placement ON source
WHEN old.placement IS NOT new.placement BEGIN
    UPDATE said SET facts = (SELECT f.facts FROM moment_facts f WHERE f.no = said.no)
        WHERE no IN (SELECT m.no FROM recording r JOIN hearing h ON h.recording_id = r.id
                JOIN moment m ON m.id = h.moment_id
            WHERE r.source_id = new.id)
            AND facts IS NOT (SELECT f.facts FROM moment_facts f WHERE f.no = said.no);
END;
