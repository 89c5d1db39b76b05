-- Faults that were planted on the simulated bench, as --fault takes them, one a line.
-- NULL: a real bench, or a run from before this was kept.
ALTER TABLE run ADD COLUMN faults TEXT;
