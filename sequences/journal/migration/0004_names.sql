-- Every name that a run of this log ever had, also once the run is removed: none is given
-- to another run. What was removed before this was kept is not known.
CREATE TABLE name (
    day     TEXT    NOT NULL,
    count   INTEGER NOT NULL,
    started INTEGER NOT NULL,                   -- of its run
    unit    TEXT    NOT NULL,
    PRIMARY KEY (day, count)
) STRICT, WITHOUT ROWID;

INSERT INTO name SELECT day, count, started, unit FROM run;

CREATE TRIGGER run_name AFTER INSERT ON run BEGIN
    INSERT OR IGNORE INTO name VALUES (new.day, new.count, new.started, new.unit);
END;
