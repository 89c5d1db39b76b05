-- Times are nanoseconds since 1970-01-01 UTC. Verdicts: 0 none, 1 pass,
-- 2 undecided, 3 fail. Values are in base units: volts, seconds, counts. A REAL
-- that is NULL is "not a number": not measured, no bound, none that applies.

CREATE TABLE run (
    id              INTEGER PRIMARY KEY,
    day             TEXT    NOT NULL,           -- with count: the run's name, as in 2026-11-25.1
    count           INTEGER NOT NULL,
    unit            TEXT    NOT NULL,
    done_by         TEXT    NOT NULL,
    sequence        TEXT    NOT NULL,
    sequence_source TEXT    NOT NULL,           -- the sequence's file as it was
    rig             TEXT    NOT NULL,
    rig_source      TEXT    NOT NULL,           -- the rig's file as it was
    started         INTEGER NOT NULL,
    planned         INTEGER NOT NULL,           -- cycles; 0: no number was set
    seed            INTEGER,                    -- of the simulated bench, its 64 bits
    program         TEXT    NOT NULL,           -- version
    notes           TEXT    NOT NULL,
    ended           INTEGER,                    -- NULL: goes on, or was cut off
    verdict         INTEGER NOT NULL DEFAULT 0, -- once ended
    complete        INTEGER NOT NULL DEFAULT 0,
    reason          TEXT    NOT NULL DEFAULT '', -- why it is not complete
    UNIQUE (day, count)
) STRICT;

CREATE TABLE capture (
    id    INTEGER PRIMARY KEY,
    bytes BLOB NOT NULL                         -- package capture's binary form
) STRICT;

CREATE TABLE cycle (
    run                 INTEGER NOT NULL REFERENCES run (id),
    n                   INTEGER NOT NULL,       -- from 1
    started             INTEGER,
    verdict             INTEGER NOT NULL,
    complete            INTEGER NOT NULL,
    missed_conversions  INTEGER NOT NULL,
    doubled_conversions INTEGER NOT NULL,
    bus_errors          INTEGER NOT NULL,
    lost_edges          INTEGER NOT NULL,
    chip_resets         INTEGER NOT NULL,
    capture             INTEGER REFERENCES capture (id), -- NULL: none kept
    PRIMARY KEY (run, n)
) STRICT, WITHOUT ROWID;

-- What is measured, once a run.
CREATE TABLE point (
    run      INTEGER NOT NULL REFERENCES run (id),
    id       INTEGER NOT NULL,
    event    TEXT    NOT NULL,
    signal   TEXT    NOT NULL,
    quantity TEXT    NOT NULL,
    lower    REAL,
    upper    REAL,
    sources  TEXT    NOT NULL,                  -- of the budget: [[source, distribution], ...]
    numbers  BLOB    NOT NULL,                  -- see package journal, pack.go
    PRIMARY KEY (run, id)
) STRICT, WITHOUT ROWID;

-- Why a figure is missing or doubtful, once a run.
CREATE TABLE reason (
    run  INTEGER NOT NULL REFERENCES run (id),
    id   INTEGER NOT NULL,
    text TEXT    NOT NULL,
    PRIMARY KEY (run, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE measurement (
    run      INTEGER NOT NULL,
    cycle    INTEGER NOT NULL,
    seq      INTEGER NOT NULL,                  -- within the cycle, from 0
    point    INTEGER NOT NULL,
    value    REAL,
    expanded REAL,                              -- uncertainty at 95 %
    verdict  INTEGER NOT NULL,
    reason   INTEGER,
    numbers  BLOB,                              -- what differs from the point's; NULL: nothing
    PRIMARY KEY (run, cycle, seq),
    FOREIGN KEY (run, cycle) REFERENCES cycle (run, n),
    FOREIGN KEY (run, point) REFERENCES point (run, id),
    FOREIGN KEY (run, reason) REFERENCES reason (run, id)
) STRICT, WITHOUT ROWID;

-- Where and of what kind symptoms are, once a run.
CREATE TABLE sign (
    run    INTEGER NOT NULL REFERENCES run (id),
    id     INTEGER NOT NULL,
    event  TEXT    NOT NULL,
    signal TEXT    NOT NULL,
    kind   TEXT    NOT NULL,
    other  TEXT    NOT NULL,
    PRIMARY KEY (run, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE symptom (
    run   INTEGER NOT NULL,
    cycle INTEGER NOT NULL,
    seq   INTEGER NOT NULL,
    sign  INTEGER NOT NULL,
    value REAL,
    bound REAL,
    PRIMARY KEY (run, cycle, seq),
    FOREIGN KEY (run, cycle) REFERENCES cycle (run, n),
    FOREIGN KEY (run, sign) REFERENCES sign (run, id)
) STRICT, WITHOUT ROWID;

-- The figures in words, for whoever opens the file with another program.
CREATE VIEW figures AS
SELECT run.day || '.' || run.count AS run, run.unit AS unit, m.cycle AS cycle, p.event AS event, p.signal AS signal,
       p.quantity AS quantity, m.value AS value, m.expanded AS expanded_uncertainty, p.lower AS lower_limit, p.upper AS upper_limit,
       CASE m.verdict WHEN 1 THEN 'pass' WHEN 2 THEN 'undecided' WHEN 3 THEN 'fail' ELSE '' END AS verdict,
       coalesce(r.text, '') AS reason
FROM measurement m
JOIN run ON run.id = m.run
JOIN point p ON p.run = m.run AND p.id = m.point
LEFT JOIN reason r ON r.run = m.run AND r.id = m.reason
ORDER BY m.run, m.cycle, m.seq;
