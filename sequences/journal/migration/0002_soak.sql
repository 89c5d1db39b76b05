-- Runs of very many cycles: what is kept of their captures, when they were
-- interrupted, and what their figures come to so far.

CREATE TABLE soak (
    run        INTEGER PRIMARY KEY REFERENCES run (id),
    keep_first INTEGER NOT NULL,                -- captures of the first so many cycles
    keep_last  INTEGER NOT NULL,                -- and of the last so many
    keep_every INTEGER NOT NULL,                -- and of every so-manieth; 0: none
    keep_bad   INTEGER NOT NULL                 -- and of so many that did not pass or drifted
) STRICT;

CREATE TABLE interruption (
    run         INTEGER NOT NULL REFERENCES run (id),
    seq         INTEGER NOT NULL,               -- from 0
    after_cycle INTEGER NOT NULL,               -- the last one stored, whole or not; 0: none was
    stopped     INTEGER,                        -- NULL: not known, as the program or the power was cut off
    resumed     INTEGER NOT NULL,
    reason      TEXT    NOT NULL,
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

-- What a run's figures come to up to a cycle. It can be made again from the
-- figures at any time, and saves reading them all.
CREATE TABLE checkpoint (
    run   INTEGER PRIMARY KEY REFERENCES run (id),
    cycle INTEGER NOT NULL,
    state BLOB    NOT NULL                      -- package tally's binary form
) STRICT;

-- 0 no policy, 1 among the first, 2 its number's turn, 3 did not pass, 4 drifted, 5 among the last
ALTER TABLE capture ADD COLUMN why INTEGER NOT NULL DEFAULT 0;

CREATE INDEX cycle_by_capture ON cycle (capture) WHERE capture IS NOT NULL;
