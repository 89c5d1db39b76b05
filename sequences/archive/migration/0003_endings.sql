-- Why a run stopped, as data, and what each converter has of its counts.
CREATE TABLE makebreak.ending (
    run   bigint  NOT NULL,
    push  integer NOT NULL,
    seq   integer NOT NULL,
    code  text    NOT NULL,
    place text    NOT NULL,
    other text    NOT NULL,
    value double precision,
    PRIMARY KEY (run, push, seq)
);

CREATE TABLE makebreak.converter_count (
    run                 bigint  NOT NULL,
    push                integer NOT NULL,
    converter           text    NOT NULL,
    missed_conversions  bigint  NOT NULL,
    doubled_conversions bigint  NOT NULL,
    bus_errors          bigint  NOT NULL,
    chip_resets         bigint  NOT NULL,
    lost_ready          bigint  NOT NULL,
    PRIMARY KEY (run, push, converter)
);

-- Whoever may add or read interruptions may do so here.
DO $$
DECLARE
    may record;
BEGIN
    FOR may IN SELECT a.privilege_type AS right, a.grantee FROM pg_class c, aclexplode(c.relacl) a WHERE c.oid = 'makebreak.interruption'::regclass AND a.grantee <> c.relowner LOOP
        EXECUTE format('GRANT %s ON makebreak.ending, makebreak.converter_count TO %s', may.right, CASE may.grantee WHEN 0 THEN 'PUBLIC' ELSE may.grantee::regrole::text END);
    END LOOP;
END
$$;

CREATE OR REPLACE FUNCTION makebreak.remove_before(day date) RETURNS bigint LANGUAGE plpgsql AS $$
DECLARE
    gone bigint;
    name text;
BEGIN
    INSERT INTO makebreak.removed (run)
        SELECT id FROM makebreak.run WHERE started < extract(epoch FROM day)::bigint * 1000000000
        ON CONFLICT DO NOTHING;
    GET DIAGNOSTICS gone = ROW_COUNT;
    FOREACH name IN ARRAY ARRAY['measurement', 'symptom', 'capture', 'cycle', 'point', 'doubt', 'doubts', 'sign',
        'soak', 'interruption', 'calibration', 'machine', 'ending', 'converter_count', 'field', 'field_change', 'reference', 'signature'] LOOP
        EXECUTE format('DELETE FROM makebreak.%I t USING makebreak.removed x WHERE x.run = t.run', name);
    END LOOP;
    UPDATE makebreak.run r SET sequence_source = '', rig_source = '' FROM makebreak.removed x WHERE x.run = r.id AND r.rig_source || r.sequence_source <> '';
    RETURN gone;
END
$$;
