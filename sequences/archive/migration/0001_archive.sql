-- Runs of many rigs, as their logs hold them: see package journal's migrations for what the
-- columns mean. Rows are only added, so that a role which can insert and nothing else suffices.
-- What a run says of itself and what may change of it stands in a row of push each time that
-- it is pushed; the last one holds. Cycles after that row's last one are of a push that was cut
-- off, and no view shows them.

CREATE TABLE makebreak.run (
    id              bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    month           date   NOT NULL,          -- first day of the month in which it began, UTC
    uuid            text   NOT NULL UNIQUE,
    series          text   NOT NULL,
    count           bigint NOT NULL,
    unit            text   NOT NULL,
    done_by         text   NOT NULL,
    sequence        text   NOT NULL,
    sequence_source text   NOT NULL,
    rig             text   NOT NULL,
    rig_source      text   NOT NULL,
    started         bigint NOT NULL,
    planned         bigint NOT NULL,
    seed            bigint,
    program         text   NOT NULL,
    notes           text   NOT NULL,
    faults          text
);
CREATE INDEX run_by_unit ON makebreak.run (unit);
CREATE INDEX run_by_month ON makebreak.run (month);

CREATE TABLE makebreak.push (
    run      bigint   NOT NULL REFERENCES makebreak.run (id),
    seq      integer  NOT NULL,               -- from 0
    at       timestamp with time zone NOT NULL DEFAULT now(),
    done_by  text     NOT NULL DEFAULT current_user,
    state    bytea    NOT NULL,               -- sum of what the log held: see package archive, state.go
    cycles   bigint   NOT NULL,               -- number of the last one; 0: none
    ended    bigint,
    verdict  smallint NOT NULL,
    complete smallint NOT NULL,
    reason   text     NOT NULL,
    PRIMARY KEY (run, seq)
);

-- Spans of cycles as they were pushed. A log whose cycles have another sum holds another run.
CREATE TABLE makebreak.part (
    run     bigint NOT NULL REFERENCES makebreak.run (id),
    first   bigint NOT NULL,
    last    bigint NOT NULL,
    points  bigint NOT NULL,                  -- how many numbers of these were given up to the last cycle
    doubts  bigint NOT NULL,
    signs   bigint NOT NULL,
    sum     bytea  NOT NULL,
    PRIMARY KEY (run, last)
);

-- Runs of which the archive's owner has removed what they held. They are not taken again.
CREATE TABLE makebreak.removed (
    run bigint PRIMARY KEY REFERENCES makebreak.run (id),
    at  timestamp with time zone NOT NULL DEFAULT now()
);

-- The large tables, by months. Where a month has no partition of its own its rows are in the
-- one for all others.
CREATE TABLE makebreak.cycle (
    month               date     NOT NULL,
    run                 bigint   NOT NULL,
    n                   bigint   NOT NULL,
    started             bigint,
    verdict             smallint NOT NULL,
    complete            smallint NOT NULL,
    missed_conversions  bigint   NOT NULL,
    doubled_conversions bigint   NOT NULL,
    bus_errors          bigint   NOT NULL,
    lost_edges          bigint   NOT NULL,
    chip_resets         bigint   NOT NULL,
    lost_ready          bigint   NOT NULL,
    PRIMARY KEY (run, n, month)
) PARTITION BY RANGE (month);
CREATE TABLE makebreak.cycle_other PARTITION OF makebreak.cycle DEFAULT;

CREATE TABLE makebreak.measurement (
    month    date     NOT NULL,
    run      bigint   NOT NULL,
    cycle    bigint   NOT NULL,
    seq      integer  NOT NULL,
    point    integer  NOT NULL,
    value    double precision,
    expanded double precision,
    verdict  smallint NOT NULL,
    doubts   integer,
    numbers  bytea,
    PRIMARY KEY (run, cycle, seq, month)
) PARTITION BY RANGE (month);
CREATE TABLE makebreak.measurement_other PARTITION OF makebreak.measurement DEFAULT;

CREATE TABLE makebreak.symptom (
    month date    NOT NULL,
    run   bigint  NOT NULL,
    cycle bigint  NOT NULL,
    seq   integer NOT NULL,
    sign  integer NOT NULL,
    value double precision,
    bound double precision,
    PRIMARY KEY (run, cycle, seq, month)
) PARTITION BY RANGE (month);
CREATE TABLE makebreak.symptom_other PARTITION OF makebreak.symptom DEFAULT;

CREATE TABLE makebreak.capture (
    month date     NOT NULL,
    run   bigint   NOT NULL,
    cycle bigint   NOT NULL,
    why   smallint NOT NULL,
    bytes bytea    NOT NULL,
    PRIMARY KEY (run, cycle, month)
) PARTITION BY RANGE (month);
CREATE TABLE makebreak.capture_other PARTITION OF makebreak.capture DEFAULT;

-- Captures are compressed already.
ALTER TABLE makebreak.capture ALTER COLUMN bytes SET STORAGE EXTERNAL;

CREATE TABLE makebreak.point (
    run             bigint  NOT NULL REFERENCES makebreak.run (id),
    id              integer NOT NULL,
    event           text    NOT NULL,
    signal          text    NOT NULL,
    quantity        text    NOT NULL,
    lower           double precision,
    upper           double precision,
    sources         text    NOT NULL,
    numbers         bytea   NOT NULL,
    unit_of_measure text    NOT NULL,
    PRIMARY KEY (run, id)
);

CREATE TABLE makebreak.doubts (
    run    bigint  NOT NULL REFERENCES makebreak.run (id),
    id     integer NOT NULL,
    reason text    NOT NULL,                  -- in codes and figures, as the log's view has it
    bound  text    NOT NULL,
    PRIMARY KEY (run, id)
);

CREATE TABLE makebreak.doubt (
    run    bigint  NOT NULL REFERENCES makebreak.run (id),
    doubts integer NOT NULL,
    seq    integer NOT NULL,
    code   text    NOT NULL,
    value  double precision,
    signal text    NOT NULL,
    other  text    NOT NULL,
    text   text    NOT NULL,
    PRIMARY KEY (run, doubts, seq)
);

CREATE TABLE makebreak.sign (
    run    bigint  NOT NULL REFERENCES makebreak.run (id),
    id     integer NOT NULL,
    event  text    NOT NULL,
    signal text    NOT NULL,
    kind   text    NOT NULL,
    other  text    NOT NULL,
    PRIMARY KEY (run, id)
);

-- What may change of a run, whole with each push.

CREATE TABLE makebreak.soak (
    run        bigint  NOT NULL,
    push       integer NOT NULL,
    keep_first bigint  NOT NULL,
    keep_last  bigint  NOT NULL,
    keep_every bigint  NOT NULL,
    keep_bad   bigint  NOT NULL,
    PRIMARY KEY (run, push)
);

CREATE TABLE makebreak.interruption (
    run         bigint  NOT NULL,
    push        integer NOT NULL,
    seq         integer NOT NULL,
    after_cycle bigint  NOT NULL,
    stopped     bigint,
    resumed     bigint  NOT NULL,
    reason      text    NOT NULL,
    program     text    NOT NULL,
    PRIMARY KEY (run, push, seq)
);

CREATE TABLE makebreak.calibration (
    run      bigint   NOT NULL,
    push     integer  NOT NULL,
    since    bigint   NOT NULL,
    seq      integer  NOT NULL,
    output   text     NOT NULL,
    state    text     NOT NULL,
    judged   smallint NOT NULL,
    meter    text     NOT NULL,
    done_by  text     NOT NULL,
    made     text     NOT NULL,
    due      text     NOT NULL,
    rig      text     NOT NULL,
    seed     bigint,
    gain     double precision NOT NULL,
    "offset" double precision NOT NULL,
    PRIMARY KEY (run, push, since, seq)
);

CREATE TABLE makebreak.machine (
    run         bigint  NOT NULL,
    push        integer NOT NULL,
    seq         integer NOT NULL,
    after_cycle bigint  NOT NULL,
    at          bigint  NOT NULL,
    fact        text    NOT NULL,
    number      double precision,
    text        text    NOT NULL,
    PRIMARY KEY (run, push, seq)
);

CREATE TABLE makebreak.field (
    run   bigint  NOT NULL,
    push  integer NOT NULL,
    seq   integer NOT NULL,
    name  text    NOT NULL,
    value text    NOT NULL,
    PRIMARY KEY (run, push, seq)
);

CREATE TABLE makebreak.field_change (
    run     bigint  NOT NULL,
    push    integer NOT NULL,
    seq     integer NOT NULL,
    at      bigint  NOT NULL,
    done_by text    NOT NULL,
    name    text    NOT NULL,
    was     text    NOT NULL,
    PRIMARY KEY (run, push, seq)
);

CREATE TABLE makebreak.reference (
    run     bigint  NOT NULL,
    push    integer NOT NULL,
    at      bigint  NOT NULL,
    done_by text    NOT NULL,
    PRIMARY KEY (run, push)
);

CREATE TABLE makebreak.signature (
    run       bigint  NOT NULL,
    push      integer NOT NULL,
    seq       integer NOT NULL,
    at        bigint  NOT NULL,
    done_by   text    NOT NULL,
    key       bytea   NOT NULL,
    manifest  text    NOT NULL,
    signature bytea   NOT NULL,
    PRIMARY KEY (run, push, seq)
);

-- A time in nanoseconds since 1970 as RFC 3339, cut to the second and to the millisecond.
CREATE FUNCTION makebreak.to_second(ns bigint) RETURNS text LANGUAGE sql IMMUTABLE AS $$
SELECT to_char(timestamp '1970-01-01' + make_interval(secs => (ns / 1000000000 - (ns % 1000000000 < 0)::integer)::double precision), 'YYYY-MM-DD"T"HH24:MI:SS')
$$;
CREATE FUNCTION makebreak.to_millisecond(ns bigint) RETURNS text LANGUAGE sql IMMUTABLE AS $$
SELECT makebreak.to_second(ns) || '.' || lpad((((ns % 1000000000 + 1000000000) % 1000000000) / 1000000)::text, 3, '0') || 'Z'
$$;
CREATE FUNCTION makebreak.verdict_in_words(verdict integer) RETURNS text LANGUAGE sql IMMUTABLE AS $$
SELECT CASE verdict WHEN 1 THEN 'pass' WHEN 2 THEN 'undecided' WHEN 3 THEN 'fail' ELSE '' END
$$;

-- Each run as its last push has it.
CREATE VIEW makebreak.shown AS
SELECT r.id, r.month, r.series || '.' || r.count AS run, r.unit, r.sequence, r.rig, (r.seed IS NOT NULL)::integer AS simulated,
       coalesce(replace(replace(r.faults, ' ', ''), chr(10), ' '), '') AS faults, r.done_by, r.program, r.uuid, r.started, r.planned,
       p.seq AS push, p.cycles AS last, p.ended, p.verdict, p.complete::integer AS complete, p.at,
       coalesce((SELECT '{' || string_agg(to_json(f.name)::text || ':' || to_json(f.value)::text, ',' ORDER BY f.seq) || '}'
           FROM makebreak.field f WHERE f.run = r.id AND f.push = p.seq AND f.value <> ''), '') AS fields
FROM makebreak.run r
CROSS JOIN LATERAL (SELECT * FROM makebreak.push p WHERE p.run = r.id ORDER BY p.seq DESC LIMIT 1) p
WHERE NOT EXISTS (SELECT 1 FROM makebreak.removed x WHERE x.run = r.id);

-- The views for other programs have the columns of the log's, and come in no order.
CREATE VIEW makebreak.runs AS
SELECT s.run, s.unit, s.sequence, makebreak.to_second(s.started) || 'Z' AS started,
       k.cycles, CASE WHEN s.complete <> 0 THEN makebreak.verdict_in_words(s.verdict)
            WHEN 3 = CASE WHEN s.ended IS NULL THEN k.gravest ELSE s.verdict END THEN 'fail'
            ELSE 'incomplete' END AS verdict,
       s.complete, s.uuid AS run_id, s.simulated, s.rig, s.faults, s.done_by AS by, s.program,
       coalesce(makebreak.to_second(s.ended) || 'Z', '') AS ended, nullif(s.planned, 0) AS planned,
       k.missed_conversions, k.doubled_conversions, k.bus_errors, k.lost_edges, k.chip_resets, k.lost_ready_edges, s.fields,
       EXISTS (SELECT 1 FROM makebreak.reference f WHERE f.run = s.id AND f.push = s.push)::integer AS reference
FROM makebreak.shown s
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE c.complete <> 0) AS cycles, max(c.verdict) AS gravest,
           coalesce(sum(c.missed_conversions), 0)::bigint AS missed_conversions, coalesce(sum(c.doubled_conversions), 0)::bigint AS doubled_conversions,
           coalesce(sum(c.bus_errors), 0)::bigint AS bus_errors, coalesce(sum(c.lost_edges), 0)::bigint AS lost_edges,
           coalesce(sum(c.chip_resets), 0)::bigint AS chip_resets, coalesce(sum(c.lost_ready), 0)::bigint AS lost_ready_edges
    FROM makebreak.cycle c WHERE c.run = s.id AND c.month = s.month AND c.n <= s.last) k;

CREATE VIEW makebreak.cycles AS
SELECT s.run, s.unit, c.n AS cycle, coalesce(makebreak.to_millisecond(c.started), '') AS cycle_started,
       CASE WHEN c.verdict = 3 THEN 'fail' WHEN c.complete = 0 THEN 'incomplete' ELSE makebreak.verdict_in_words(c.verdict) END AS verdict,
       c.complete::integer AS cycle_complete, c.missed_conversions, c.doubled_conversions, c.bus_errors, c.lost_edges, c.chip_resets, c.lost_ready AS lost_ready_edges,
       EXISTS (SELECT 1 FROM makebreak.capture k WHERE k.run = c.run AND k.month = c.month AND k.cycle = c.n)::integer AS capture,
       s.sequence, s.rig, s.simulated, s.faults, s.done_by AS by,
       coalesce((SELECT i.program FROM makebreak.interruption i WHERE i.run = s.id AND i.push = s.push AND i.after_cycle < c.n AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), s.program) AS program,
       s.complete, s.uuid AS run_id
FROM makebreak.shown s
JOIN makebreak.cycle c ON c.run = s.id AND c.month = s.month AND c.n <= s.last;

CREATE VIEW makebreak.figures AS
SELECT s.run, s.unit, m.cycle, p.event, p.signal, p.quantity, m.value, p.unit_of_measure, m.expanded AS expanded_uncertainty,
       p.lower AS lower_limit, p.upper AS upper_limit, makebreak.verdict_in_words(m.verdict) AS verdict,
       coalesce(d.reason, '') AS reason, coalesce(d.bound, '') AS bound, coalesce(makebreak.to_millisecond(c.started), '') AS cycle_started,
       s.sequence, s.rig, s.simulated, s.faults, s.done_by AS by,
       coalesce((SELECT i.program FROM makebreak.interruption i WHERE i.run = s.id AND i.push = s.push AND i.after_cycle < m.cycle AND i.program <> ''
           ORDER BY i.seq DESC LIMIT 1), s.program) AS program,
       s.complete, s.uuid AS run_id, s.fields
FROM makebreak.shown s
JOIN makebreak.measurement m ON m.run = s.id AND m.month = s.month AND m.cycle <= s.last
JOIN makebreak.cycle c ON c.run = m.run AND c.month = m.month AND c.n = m.cycle
JOIN makebreak.point p ON p.run = m.run AND p.id = m.point
LEFT JOIN makebreak.doubts d ON d.run = m.run AND d.id = m.doubts;

-- The archive's owner keeps runs so long: what those hold that began before a day goes. What
-- says that they were here stays, so that no rig pushes them again. It returns how many went.
CREATE FUNCTION makebreak.remove_before(day date) RETURNS bigint LANGUAGE plpgsql AS $$
DECLARE
    gone bigint;
    name text;
BEGIN
    INSERT INTO makebreak.removed (run)
        SELECT id FROM makebreak.run WHERE started < extract(epoch FROM day)::bigint * 1000000000
        ON CONFLICT DO NOTHING;
    GET DIAGNOSTICS gone = ROW_COUNT;
    FOREACH name IN ARRAY ARRAY['measurement', 'symptom', 'capture', 'cycle', 'point', 'doubt', 'doubts', 'sign',
        'soak', 'interruption', 'calibration', 'machine', 'field', 'field_change', 'reference', 'signature'] LOOP
        EXECUTE format('DELETE FROM makebreak.%I t USING makebreak.removed x WHERE x.run = t.run', name);
    END LOOP;
    UPDATE makebreak.run r SET sequence_source = '', rig_source = '' FROM makebreak.removed x WHERE x.run = r.id AND r.rig_source || r.sequence_source <> '';
    RETURN gone;
END
$$;
