-- Figures of one kind over a stretch of at most 64 cycles stand together in a row: so a soak of
-- a million cycles is some hundred thousand rows in place of twenty million. Where they are all
-- the same the column itself has it, and the list beside it is NULL.
DO $$
DECLARE
    part record;
BEGIN
    ALTER TABLE makebreak.measurement RENAME TO old_measurement;
    FOR part IN SELECT c.relname AS name FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid WHERE i.inhparent = 'makebreak.old_measurement'::regclass LOOP
        EXECUTE format('ALTER TABLE makebreak.%I RENAME TO %I', part.name, 'old_' || part.name);
    END LOOP;
END
$$;

CREATE TABLE makebreak.measurement (
    month         date     NOT NULL,
    run           bigint   NOT NULL,
    point         integer  NOT NULL,
    seq           integer  NOT NULL,           -- within their cycles
    first         bigint   NOT NULL,           -- cycle of the first one
    last          bigint   NOT NULL,           -- and of the last one
    present       bit varying,                 -- 0: that cycle has none, and stands for one in the lists; NULL: all have one
    value_list    double precision[] NOT NULL,
    expanded      double precision,
    expanded_list double precision[],
    verdict       smallint,
    verdict_list  smallint[],
    doubts        integer,
    doubts_list   integer[],
    numbers       bytea,                       -- of each its length in four bytes, -1 for none, and the log's bytes; NULL: none has any
    PRIMARY KEY (run, point, first, seq, month)
) PARTITION BY RANGE (month);

-- Trying to compress numbers takes longer than storing them.
ALTER TABLE makebreak.measurement ALTER COLUMN value_list SET STORAGE EXTERNAL,
    ALTER COLUMN expanded_list SET STORAGE EXTERNAL, ALTER COLUMN verdict_list SET STORAGE EXTERNAL, ALTER COLUMN doubts_list SET STORAGE EXTERNAL,
    ALTER COLUMN numbers SET STORAGE EXTERNAL;

-- The same partitions, and the same rights.
DO $$
DECLARE
    part record;
    may record;
BEGIN
    FOR part IN SELECT c.relname AS name, pg_get_expr(c.relpartbound, c.oid) AS months FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid WHERE i.inhparent = 'makebreak.old_measurement'::regclass LOOP
        EXECUTE format('CREATE TABLE makebreak.%I PARTITION OF makebreak.measurement %s', substr(part.name, length('old_') + 1), part.months);
    END LOOP;
    FOR may IN SELECT a.privilege_type AS right, a.grantee FROM pg_class c, aclexplode(c.relacl) a WHERE c.oid = 'makebreak.old_measurement'::regclass AND a.grantee <> c.relowner LOOP
        EXECUTE format('GRANT %s ON makebreak.measurement TO %s', may.right, CASE may.grantee WHEN 0 THEN 'PUBLIC' ELSE may.grantee::regrole::text END);
    END LOOP;
END
$$;

-- Each old row in a list of all cycles from the first to the last one of its stretch.
INSERT INTO makebreak.measurement
SELECT g.month, g.run, g.point, g.seq, g.first, g.last,
       CASE WHEN bool_or(o.run IS NULL) THEN string_agg(CASE WHEN o.run IS NULL THEN '0' ELSE '1' END, '' ORDER BY n)::bit varying END,
       array_agg(o.value ORDER BY n),
       CASE WHEN g.same_expanded THEN min(o.expanded) END, CASE WHEN NOT g.same_expanded THEN array_agg(o.expanded ORDER BY n) END,
       CASE WHEN g.same_verdict THEN min(o.verdict) END, CASE WHEN NOT g.same_verdict THEN array_agg(o.verdict ORDER BY n) END,
       CASE WHEN g.same_doubts THEN min(o.doubts) END, CASE WHEN NOT g.same_doubts THEN array_agg(o.doubts ORDER BY n) END,
       CASE WHEN count(o.numbers) > 0 THEN string_agg(int4send(coalesce(length(o.numbers), -1)) || coalesce(o.numbers, ''), '' ORDER BY n) END
FROM (
    SELECT month, run, point, seq, min(cycle) AS first, max(cycle) AS last,
           count(DISTINCT float8send(expanded)) + (count(*) > count(expanded))::integer <= 1 AS same_expanded,
           count(DISTINCT verdict) <= 1 AS same_verdict,
           count(DISTINCT doubts) + (count(*) > count(doubts))::integer <= 1 AS same_doubts
    FROM makebreak.old_measurement GROUP BY month, run, point, seq, (cycle - 1) / 64
) g
CROSS JOIN LATERAL generate_series(g.first, g.last) n
LEFT JOIN makebreak.old_measurement o ON o.month = g.month AND o.run = g.run AND o.point = g.point AND o.seq = g.seq AND o.cycle = n
GROUP BY g.month, g.run, g.point, g.seq, g.first, g.last, g.same_expanded, g.same_verdict, g.same_doubts;

CREATE OR REPLACE VIEW makebreak.figures AS
SELECT s.run, s.unit, c.n AS cycle, p.event, p.signal, p.quantity, b.value_list[c.n - b.first + 1] AS value, p.unit_of_measure,
       coalesce(b.expanded, b.expanded_list[c.n - b.first + 1]) AS expanded_uncertainty,
       p.lower AS lower_limit, p.upper AS upper_limit, makebreak.verdict_in_words(coalesce(b.verdict, b.verdict_list[c.n - b.first + 1])) AS verdict,
       coalesce(d.reason, '') AS reason, coalesce(d.bound, '') AS bound, coalesce(makebreak.to_millisecond(c.started), '') AS cycle_started,
       s.sequence, s.rig, s.simulated, s.faults, s.done_by AS by,
       coalesce((SELECT i.program FROM makebreak.interruption i WHERE i.run = s.id AND i.push = s.push AND i.after_cycle < c.n AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), s.program) AS program,
       s.complete, s.uuid AS run_id, s.fields
FROM makebreak.shown s
JOIN makebreak.point p ON p.run = s.id
JOIN makebreak.measurement b ON b.run = s.id AND b.month = s.month AND b.point = p.id AND b.first <= s.last
CROSS JOIN LATERAL (
    SELECT c.n, c.started FROM makebreak.cycle c
    WHERE c.run = b.run AND c.month = b.month AND c.n BETWEEN b.first AND b.last
        AND CASE WHEN b.present IS NOT NULL AND c.n BETWEEN b.first AND b.last THEN get_bit(b.present, (c.n - b.first)::integer) = 1 ELSE true END
    OFFSET 0) c                                -- so that no query begins with the cycles and goes through all stretches for each
LEFT JOIN makebreak.doubts d ON d.run = s.id AND d.id = coalesce(b.doubts, b.doubts_list[c.n - b.first + 1])
WHERE c.n <= s.last;

DROP TABLE makebreak.old_measurement;
