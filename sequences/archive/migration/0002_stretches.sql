-- Figures of one kind over a stretch of cycles stand together in a row: so a soak of a million
-- cycles is some ten thousand rows in place of twenty million. Where they are all the same the
-- column itself has it, and the list beside it is NULL.
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
    cycle_list    bigint[],                    -- NULL: each cycle from the first to the last
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
ALTER TABLE makebreak.measurement ALTER COLUMN cycle_list SET STORAGE EXTERNAL, ALTER COLUMN value_list SET STORAGE EXTERNAL,
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

INSERT INTO makebreak.measurement
SELECT month, run, point, seq, min(cycle), max(cycle),
       CASE WHEN count(*) <= max(cycle) - min(cycle) THEN array_agg(cycle ORDER BY cycle) END,
       array_agg(value ORDER BY cycle),
       CASE WHEN same_expanded THEN min(expanded) END, CASE WHEN NOT same_expanded THEN array_agg(expanded ORDER BY cycle) END,
       CASE WHEN same_verdict THEN min(verdict) END, CASE WHEN NOT same_verdict THEN array_agg(verdict ORDER BY cycle) END,
       CASE WHEN same_doubts THEN min(doubts) END, CASE WHEN NOT same_doubts THEN array_agg(doubts ORDER BY cycle) END,
       CASE WHEN count(numbers) > 0 THEN string_agg(int4send(coalesce(length(numbers), -1)) || coalesce(numbers, ''), '' ORDER BY cycle) END
FROM makebreak.old_measurement
JOIN (
    SELECT month, run, point, seq, (cycle - 1) / 1000 AS stretch,
           count(DISTINCT float8send(expanded)) + (count(*) > count(expanded))::integer <= 1 AS same_expanded,
           count(DISTINCT verdict) <= 1 AS same_verdict,
           count(DISTINCT doubts) + (count(*) > count(doubts))::integer <= 1 AS same_doubts
    FROM makebreak.old_measurement GROUP BY month, run, point, seq, (cycle - 1) / 1000
) same USING (month, run, point, seq)
WHERE (cycle - 1) / 1000 = stretch
GROUP BY month, run, point, seq, stretch, same_expanded, same_verdict, same_doubts;

-- The figures of a stretch. What it costs to call and how many rows it gives are said so that a
-- query makes the rows of a stretch once, and of those stretches only that have cycles asked for.
CREATE FUNCTION makebreak.each_figure(first bigint, cycle_list bigint[], value_list double precision[], expanded_list double precision[], verdict_list smallint[], doubts_list integer[])
RETURNS TABLE (cycle bigint, value double precision, expanded double precision, verdict smallint, doubts integer)
LANGUAGE plpgsql STABLE PARALLEL SAFE COST 100000 ROWS 1000 AS $$
BEGIN
    RETURN QUERY SELECT coalesce(e.n, first + e.place - 1), e.v, e.x, e.d, e.l
        FROM unnest(cycle_list, value_list, expanded_list, verdict_list, doubts_list) WITH ORDINALITY e(n, v, x, d, l, place);
END
$$;

CREATE OR REPLACE VIEW makebreak.figures AS
SELECT s.run, s.unit, c.n AS cycle, p.event, p.signal, p.quantity, m.value, p.unit_of_measure, coalesce(m.expanded, b.expanded) AS expanded_uncertainty,
       p.lower AS lower_limit, p.upper AS upper_limit, makebreak.verdict_in_words(coalesce(m.verdict, b.verdict)) AS verdict,
       coalesce(d.reason, '') AS reason, coalesce(d.bound, '') AS bound, coalesce(makebreak.to_millisecond(c.started), '') AS cycle_started,
       s.sequence, s.rig, s.simulated, s.faults, s.done_by AS by,
       coalesce((SELECT i.program FROM makebreak.interruption i WHERE i.run = s.id AND i.push = s.push AND i.after_cycle < c.n AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), s.program) AS program,
       s.complete, s.uuid AS run_id, s.fields
FROM makebreak.shown s
JOIN makebreak.measurement b ON b.run = s.id AND b.month = s.month AND b.first <= s.last
JOIN makebreak.point p ON p.run = b.run AND p.id = b.point
CROSS JOIN LATERAL makebreak.each_figure(b.first, b.cycle_list, b.value_list, b.expanded_list, b.verdict_list, b.doubts_list) m
JOIN makebreak.cycle c ON c.run = b.run AND c.month = b.month AND c.n = m.cycle AND c.n BETWEEN b.first AND b.last AND c.n <= s.last
LEFT JOIN makebreak.doubts d ON d.run = b.run AND d.id = coalesce(m.doubts, b.doubts);

DROP TABLE makebreak.old_measurement;
