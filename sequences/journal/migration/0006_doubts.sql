-- What is doubtful of a figure, as codes and figures. Before this, a sentence said it, which
-- package journal takes apart once these statements are done (worded.go).
DROP VIEW figures;

-- Lists of doubts, once a run: a figure refers to one.
ALTER TABLE reason RENAME TO doubts;
ALTER TABLE measurement RENAME COLUMN reason TO doubts;

CREATE TABLE doubt (
    run    INTEGER NOT NULL,
    doubts INTEGER NOT NULL,                    -- the list that it is in
    seq    INTEGER NOT NULL,                    -- within the list, from 0
    code   TEXT    NOT NULL,                    -- see package analyze, doubt.go
    value  REAL,                                -- the code's figure, in base units
    signal TEXT    NOT NULL,                    -- that it is about, where that is not the figure's own
    other  TEXT    NOT NULL,                    -- a second one
    text   TEXT    NOT NULL,                    -- of the code 'worded' alone: an old sentence that is in no known form
    PRIMARY KEY (run, doubts, seq),
    FOREIGN KEY (run, doubts) REFERENCES doubts (run, id)
) STRICT, WITHOUT ROWID;

-- Sums up to a cycle hold sentences, too. They are made again from the figures.
DELETE FROM checkpoint;

-- The figures in words, for whoever opens the file with another program.
CREATE VIEW figures AS
SELECT run.day || '.' || run.count AS run, run.unit AS unit, m.cycle AS cycle, p.event AS event, p.signal AS signal,
       p.quantity AS quantity, m.value AS value, m.expanded AS expanded_uncertainty, p.lower AS lower_limit, p.upper AS upper_limit,
       CASE m.verdict WHEN 1 THEN 'pass' WHEN 2 THEN 'undecided' WHEN 3 THEN 'fail' ELSE '' END AS verdict,
       CASE WHEN m.doubts IS NULL THEN '' ELSE coalesce((
           SELECT group_concat(words, '; ') FROM (
               SELECT CASE WHEN code = 'worded' THEN text
                      ELSE trim(signal || ' ' || replace(code, '-', ' ') || ' ' || other) || iif(value IS NULL, '', format(': %.4g', value)) END AS words
               FROM doubt d WHERE d.run = m.run AND d.doubts = m.doubts ORDER BY d.seq)), '') END AS reason
FROM measurement m
JOIN run ON run.id = m.run
JOIN point p ON p.run = m.run AND p.id = m.point
ORDER BY m.run, m.cycle, m.seq;
