-- Why a run stopped, as a code with what it is about. Sentences are made of it when it is told.
-- seq is how many interruptions the run had had before: so the k-th one is why the k-th
-- interruption began, and the last one why the run ended. Of runs from before this, of one that is
-- complete and of a stop that no program could record there is none.
CREATE TABLE ending (
    run   INTEGER NOT NULL REFERENCES run (id),
    seq   INTEGER NOT NULL,                     -- from 0
    code  TEXT    NOT NULL,                     -- see package capture, ending.go
    place TEXT    NOT NULL,                     -- converter, line, reference or drive that it is about; may be empty
    other TEXT    NOT NULL,                     -- a second one
    value REAL,                                 -- the code's figure, in base units
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

-- What each converter of the rig has of a run's counts, over all cycles stored; only those with
-- anything counted. Runs from before this was kept have none.
CREATE TABLE converter_count (
    run                 INTEGER NOT NULL REFERENCES run (id),
    converter           TEXT    NOT NULL,       -- its name in the rig file
    missed_conversions  INTEGER NOT NULL,
    doubled_conversions INTEGER NOT NULL,
    bus_errors          INTEGER NOT NULL,
    chip_resets         INTEGER NOT NULL,
    lost_ready          INTEGER NOT NULL,
    PRIMARY KEY (run, converter)
) STRICT, WITHOUT ROWID;
