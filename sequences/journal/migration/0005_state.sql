-- Whether the log holds all of a run: 0 all that was stored, 1 its copying into this log was
-- begun and is not done, 2 its removal was. Before this, words in the column reason said so.
ALTER TABLE run ADD COLUMN state INTEGER NOT NULL DEFAULT 0;

UPDATE run SET state = 2, reason = substr(reason, length('being removed from the log; before that: ') + 1)
WHERE reason GLOB 'being removed from the log*';

UPDATE run SET state = max(state, 1), reason = '' WHERE reason = 'being copied into this log';
