-- What the workshop notes with a run, as a job's number. An empty value was taken away later.
CREATE TABLE field (
    run   INTEGER NOT NULL REFERENCES run (id),
    seq   INTEGER NOT NULL,                     -- from 0, in the workshop's order
    name  TEXT    NOT NULL,
    value TEXT    NOT NULL,
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

-- What was changed of it after the run had begun.
CREATE TABLE field_change (
    run     INTEGER NOT NULL REFERENCES run (id),
    seq     INTEGER NOT NULL,                   -- from 0
    at      INTEGER NOT NULL,                   -- nanoseconds since 1970
    done_by TEXT    NOT NULL,                   -- may be empty
    name    TEXT    NOT NULL,
    was     TEXT    NOT NULL,                   -- the value before; empty: there was none
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

-- Runs that others of their kind are compared with, at most one a kind: see package journal,
-- reference.go.
CREATE TABLE reference (
    run     INTEGER NOT NULL PRIMARY KEY REFERENCES run (id),
    at      INTEGER NOT NULL,                   -- when it was marked, nanoseconds since 1970
    done_by TEXT    NOT NULL                    -- may be empty
) STRICT, WITHOUT ROWID;

-- The earlier runs of a unit are looked for with each record.
CREATE INDEX run_by_unit ON run (unit);

-- The views have the fields at their ends, as a JSON object.
DROP VIEW runs;
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
       (SELECT coalesce(sum(c.lost_ready), 0) FROM cycle c WHERE c.run = r.id) AS lost_ready_edges,
       (SELECT CASE WHEN count(*) = 0 THEN '' ELSE json_group_object(name, value) END FROM (
           SELECT name, value FROM field f WHERE f.run = r.id AND f.value <> '' ORDER BY f.seq)) AS fields,
       EXISTS (SELECT 1 FROM reference f WHERE f.run = r.id) AS reference
FROM run r
ORDER BY r.id;

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
       r.complete AS complete, r.uuid AS run_id,
       (SELECT CASE WHEN count(*) = 0 THEN '' ELSE json_group_object(name, value) END FROM (
           SELECT name, value FROM field f WHERE f.run = r.id AND f.value <> '' ORDER BY f.seq)) AS fields
FROM run r
CROSS JOIN measurement m ON m.run = r.id
CROSS JOIN cycle c ON c.run = m.run AND c.n = m.cycle
CROSS JOIN point p ON p.run = m.run AND p.id = m.point
ORDER BY r.id, m.cycle, m.seq;

-- A log of 100,000 runs is searched, and counted by sequence and day, without reading the
-- runs themselves, which hold their sequence's and their rig's files.
CREATE INDEX run_search ON run (sequence, started, unit, complete, verdict, ended, seed);

-- Whether a run of a million cycles has failed is known without reading them.
CREATE INDEX cycle_doubtful ON cycle (run, verdict) WHERE verdict >= 2;
