-- Exercises that trainees have begun, with what they did and how they were marked. What is
-- hidden from the trainee is sealed: see package exercise.
CREATE TABLE exercise (
    id      INTEGER PRIMARY KEY,
    uuid    TEXT    NOT NULL UNIQUE,
    name    TEXT    NOT NULL,
    title   TEXT    NOT NULL,
    grade   INTEGER NOT NULL,
    trainee TEXT    NOT NULL,                   -- may be empty
    rig     TEXT    NOT NULL,                   -- file of a real rig; empty: the simulated bench
    started INTEGER NOT NULL,                   -- nanoseconds since 1970
    worded  INTEGER NOT NULL,                   -- 1: begun with a trainer's word
    salt    BLOB    NOT NULL,
    state   BLOB    NOT NULL,                   -- sealed
    by_word BLOB    NOT NULL,                   -- key of the state, sealed by the word
    here    BLOB    NOT NULL,                   -- key of the state, sealed by this program and log
    ended   INTEGER,                            -- NULL: not answered yet
    marks   TEXT                                -- JSON of codes and numbers; NULL: not answered yet
) STRICT;

CREATE TABLE exercise_step (
    exercise INTEGER NOT NULL REFERENCES exercise (id),
    seq      INTEGER NOT NULL,                  -- from 0
    at       INTEGER NOT NULL,                  -- nanoseconds since 1970
    action   TEXT    NOT NULL,                  -- JSON of words and numbers; of an answer nothing but that
    cost     INTEGER NOT NULL,                  -- nanoseconds of bench time
    dangers  TEXT    NOT NULL,                  -- codes, separated by blanks
    run      TEXT    NOT NULL,                  -- name of the run that was made; empty: none
    PRIMARY KEY (exercise, seq)
) STRICT, WITHOUT ROWID;

-- Who stands for what a run held, by a key: see package journal, signature.go.
CREATE TABLE signature (
    run       INTEGER NOT NULL REFERENCES run (id),
    seq       INTEGER NOT NULL,                 -- from 0
    at        INTEGER NOT NULL,                 -- nanoseconds since 1970
    done_by   TEXT    NOT NULL,                 -- may be empty
    key       BLOB    NOT NULL,                 -- Ed25519, public
    manifest  TEXT    NOT NULL,                 -- see package journal, manifest.go
    signature BLOB    NOT NULL,
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
