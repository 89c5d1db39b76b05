-- Conversions that had ended though no ready edge came. Earlier programs did not count them.
ALTER TABLE cycle ADD COLUMN lost_ready INTEGER NOT NULL DEFAULT 0;

-- A run's name says from which log it is, so that runs of several rigs can stand in one log.
-- Runs from before this keep their names.
ALTER TABLE run RENAME COLUMN day TO series; -- with count: the name, as in 2026-11-25-lumora.1
ALTER TABLE name RENAME COLUMN day TO series;

-- RFC 9562: of version 7; of runs from before this, of version 8, made of what names them (identity.go).
ALTER TABLE run ADD COLUMN uuid TEXT NOT NULL DEFAULT '';
ALTER TABLE name ADD COLUMN uuid TEXT NOT NULL DEFAULT '';

DROP TRIGGER run_name;
CREATE TRIGGER run_name AFTER INSERT ON run BEGIN
    INSERT OR IGNORE INTO name VALUES (new.series, new.count, new.started, new.unit, new.uuid);
END;

CREATE UNIQUE INDEX run_by_uuid ON run (uuid) WHERE uuid <> '';

-- One row: what makes this log's word (identity.go).
CREATE TABLE log (identity TEXT NOT NULL) STRICT;
INSERT INTO log VALUES (lower(hex(randomblob(16))));

-- By which calibration each output's readings were corrected, or why by none, from a cycle
-- on. A set of rows holds until the next one. Runs from before this was kept have none.
CREATE TABLE calibration (
    run     INTEGER NOT NULL REFERENCES run (id),
    since   INTEGER NOT NULL,                   -- the first cycle that the set holds for
    seq     INTEGER NOT NULL,                   -- of the outputs, from 0
    output  TEXT    NOT NULL,
    state   TEXT    NOT NULL,                   -- see package capture, calibration.go
    judged  INTEGER NOT NULL,                   -- 1: figures that rest on it are judged although it is overdue
    meter   TEXT    NOT NULL,                   -- its serial; empty as what follows where there is none
    done_by TEXT    NOT NULL,
    made    TEXT    NOT NULL,                   -- days, as in 2026-03-31
    due     TEXT    NOT NULL,
    rig     TEXT    NOT NULL,                   -- that it was made on
    seed    INTEGER,                            -- of that rig's simulated bench, its 64 bits
    gain    REAL    NOT NULL,                   -- volts per volt
    offset  REAL    NOT NULL,                   -- volts
    PRIMARY KEY (run, since, seq)
) STRICT, WITHOUT ROWID;

-- What is measured has its unit beside it: "V", "s" or "1", as package analyze has it.
-- Package journal fills it in for what is there (units.go).
ALTER TABLE point ADD COLUMN unit_of_measure TEXT NOT NULL DEFAULT '';

-- The views are for other programs, and stay: a column may come in addition, at the end.
-- Their columns mean what those of the same name in CSV mean. Texts that are missing are
-- empty, numbers are NULL; yes is 1 and no is 0. Joins are in the order in which they are
-- best read, and everything is found and sorted by primary keys.
DROP VIEW figures;

CREATE VIEW runs AS
SELECT r.series || '.' || r.count AS run, r.unit AS unit, r.sequence AS sequence,
       strftime('%Y-%m-%dT%H:%M:%S', r.started / 1000000000 - (r.started % 1000000000 < 0), 'unixepoch') || 'Z' AS started,
       (SELECT count(*) FROM cycle c WHERE c.run = r.id AND c.complete) AS cycles,
       CASE WHEN r.complete THEN CASE r.verdict WHEN 1 THEN 'pass' WHEN 2 THEN 'undecided' WHEN 3 THEN 'fail' ELSE '' END
            WHEN 3 = iif(r.ended IS NULL, (SELECT max(c.verdict) FROM cycle c WHERE c.run = r.id), r.verdict) THEN 'fail'
            ELSE 'incomplete' END AS verdict,
       r.complete AS complete, r.uuid AS run_id, r.seed IS NOT NULL AS simulated,
       r.rig AS rig, coalesce(replace(replace(r.faults, ' ', ''), char(10), ' '), '') AS faults, r.done_by AS by, r.program AS program,
       coalesce(strftime('%Y-%m-%dT%H:%M:%S', r.ended / 1000000000 - (r.ended % 1000000000 < 0), 'unixepoch') || 'Z', '') AS ended, nullif(r.planned, 0) AS planned,
       (SELECT coalesce(sum(c.missed_conversions), 0) FROM cycle c WHERE c.run = r.id) AS missed_conversions,
       (SELECT coalesce(sum(c.doubled_conversions), 0) FROM cycle c WHERE c.run = r.id) AS doubled_conversions,
       (SELECT coalesce(sum(c.bus_errors), 0) FROM cycle c WHERE c.run = r.id) AS bus_errors,
       (SELECT coalesce(sum(c.lost_edges), 0) FROM cycle c WHERE c.run = r.id) AS lost_edges,
       (SELECT coalesce(sum(c.chip_resets), 0) FROM cycle c WHERE c.run = r.id) AS chip_resets,
       (SELECT coalesce(sum(c.lost_ready), 0) FROM cycle c WHERE c.run = r.id) AS lost_ready_edges
FROM run r
ORDER BY r.id;

CREATE VIEW cycles AS
SELECT r.series || '.' || r.count AS run, r.unit AS unit, c.n AS cycle,
       coalesce(strftime('%Y-%m-%dT%H:%M:%S', c.started / 1000000000 - (c.started % 1000000000 < 0), 'unixepoch') || format('.%03dZ', (c.started % 1000000000 + 1000000000) % 1000000000 / 1000000), '') AS cycle_started,
       CASE WHEN c.verdict = 3 THEN 'fail' WHEN NOT c.complete THEN 'incomplete' WHEN c.verdict = 2 THEN 'undecided' WHEN c.verdict = 1 THEN 'pass' ELSE '' END AS verdict,
       c.complete AS cycle_complete,
       c.missed_conversions AS missed_conversions, c.doubled_conversions AS doubled_conversions, c.bus_errors AS bus_errors,
       c.lost_edges AS lost_edges, c.chip_resets AS chip_resets, c.lost_ready AS lost_ready_edges,
       c.capture IS NOT NULL AS capture,
       r.sequence AS sequence, r.rig AS rig, r.seed IS NOT NULL AS simulated,
       coalesce(replace(replace(r.faults, ' ', ''), char(10), ' '), '') AS faults, r.done_by AS by,
       coalesce((SELECT i.program FROM interruption i WHERE i.run = r.id AND i.after_cycle < c.n AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), r.program) AS program,
       r.complete AS complete, r.uuid AS run_id
FROM run r
CROSS JOIN cycle c ON c.run = r.id
ORDER BY r.id, c.n;

-- The reason is in codes and figures; CSV has it in words.
CREATE VIEW figures AS
SELECT r.series || '.' || r.count AS run, r.unit AS unit, m.cycle AS cycle, p.event AS event, p.signal AS signal,
       p.quantity AS quantity, m.value AS value, p.unit_of_measure AS unit_of_measure, m.expanded AS expanded_uncertainty,
       p.lower AS lower_limit, p.upper AS upper_limit,
       CASE m.verdict WHEN 1 THEN 'pass' WHEN 2 THEN 'undecided' WHEN 3 THEN 'fail' ELSE '' END AS verdict,
       CASE WHEN m.doubts IS NULL THEN '' ELSE coalesce((
           SELECT group_concat(words, '; ') FROM (
               SELECT CASE WHEN code = 'worded' THEN text
                      ELSE trim(signal || ' ' || replace(code, '-', ' ') || ' ' || other) || iif(value IS NULL, '', format(': %.4g', value)) END AS words
               FROM doubt d WHERE d.run = m.run AND d.doubts = m.doubts ORDER BY d.seq)), '') END AS reason,
       CASE WHEN m.doubts IS NULL THEN '' ELSE coalesce((
           SELECT substr(code, 1, 5) FROM doubt d WHERE d.run = m.run AND d.doubts = m.doubts AND code IN ('upper-bound', 'lower-bound')
           ORDER BY d.seq LIMIT 1), '') END AS bound,
       coalesce(strftime('%Y-%m-%dT%H:%M:%S', c.started / 1000000000 - (c.started % 1000000000 < 0), 'unixepoch') || format('.%03dZ', (c.started % 1000000000 + 1000000000) % 1000000000 / 1000000), '') AS cycle_started,
       r.sequence AS sequence, r.rig AS rig, r.seed IS NOT NULL AS simulated,
       coalesce(replace(replace(r.faults, ' ', ''), char(10), ' '), '') AS faults, r.done_by AS by,
       coalesce((SELECT i.program FROM interruption i WHERE i.run = r.id AND i.after_cycle < m.cycle AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), r.program) AS program,
       r.complete AS complete, r.uuid AS run_id
FROM run r
CROSS JOIN measurement m ON m.run = r.id
CROSS JOIN cycle c ON c.run = m.run AND c.n = m.cycle
CROSS JOIN point p ON p.run = m.run AND p.id = m.point
ORDER BY r.id, m.cycle, m.seq;

-- The version of the program that went on; empty: not kept, or the one before went on itself.
ALTER TABLE interruption ADD COLUMN program TEXT NOT NULL DEFAULT '';
