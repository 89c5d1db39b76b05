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
