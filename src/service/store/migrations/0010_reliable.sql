-- When somebody else is told that nobody has taken a mail yet, while the work can still be done; none: never.
ALTER TABLE outbox ADD COLUMN others_due INTEGER;
ALTER TABLE outbox ADD COLUMN others_told INTEGER NOT NULL DEFAULT 0 CHECK (others_told IN (0, 1));
-- What is due is looked for at every turn, and is a handful among years of rounds.
CREATE INDEX rounds_noted ON rounds (garden, due) WHERE state = 'due';

-- Until when a weather service, by its origin, wants to be left alone: a single pass must not forget what the one before
-- was told.
CREATE TABLE silences (
    origin TEXT    NOT NULL PRIMARY KEY,
    until  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
