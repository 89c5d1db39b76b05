-- What was known of the computer at a real bench: all of it when a run began and when it went
-- on, and what had changed at a later look. Runs from before this was kept have none.
CREATE TABLE machine (
    run         INTEGER NOT NULL REFERENCES run (id),
    seq         INTEGER NOT NULL, -- from 0, in the order in which it was seen
    after_cycle INTEGER NOT NULL, -- the last cycle that was stored before; 0: none
    at          INTEGER NOT NULL, -- nanoseconds since 1970
    fact        TEXT    NOT NULL, -- see package capture, machine.go
    number      REAL,             -- in the fact's unit, or 1 for yes and 0 for no; NULL: not known, or a word
    text        TEXT    NOT NULL, -- of a word
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
