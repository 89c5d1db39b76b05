-- Conversions that had ended though no ready edge came. Earlier programs did not count them.
ALTER TABLE cycle ADD COLUMN lost_ready INTEGER NOT NULL DEFAULT 0;
