-- A group of one row each: as a LIMIT or OFFSET would, it keeps queries from beginning with the
-- cycles and going through all stretches for each, and unlike these it lets the condition that
-- names a cycle in. So one cycle of a long soak takes a fifth of the time.
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
    GROUP BY c.run, c.n, c.month) c
LEFT JOIN makebreak.doubts d ON d.run = s.id AND d.id = coalesce(b.doubts, b.doubts_list[c.n - b.first + 1])
WHERE c.n <= s.last;
