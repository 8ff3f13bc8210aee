-- A round is a row from the moment it is found due, so that a crash, a new timetable or another's success before it
-- cannot make it forgotten.
CREATE TABLE rounds_2 (
    garden       TEXT    NOT NULL,
    kind         TEXT    NOT NULL,
    due          INTEGER NOT NULL,
    night        TEXT    NOT NULL,
    state        TEXT    NOT NULL CHECK (state IN ('due', 'done', 'missed', 'merged')),
    finished_at  INTEGER NOT NULL, -- of a due one: when it was found
    late_seconds INTEGER NOT NULL,
    told_in      TEXT,             -- key of the mail in which a manager was told that it was missed
    PRIMARY KEY (garden, kind, due)
) STRICT, WITHOUT ROWID;
-- What was missed before this release is past telling: an empty key.
INSERT INTO rounds_2 SELECT garden, kind, due, night, state, finished_at, late_seconds, '' FROM rounds;
DROP TABLE rounds;
ALTER TABLE rounds_2 RENAME TO rounds;
CREATE INDEX rounds_by_due ON rounds (garden, due);
CREATE INDEX rounds_missed ON rounds (finished_at) WHERE state = 'missed';

-- What a mail says, for whoever is told in another's place.
ALTER TABLE outbox ADD COLUMN subject TEXT NOT NULL DEFAULT '';
ALTER TABLE outbox ADD COLUMN plain TEXT NOT NULL DEFAULT '';
-- When it was refused or expired.
ALTER TABLE outbox ADD COLUMN ended_at INTEGER;
-- Who was told instead, addresses with commas between; empty: nobody was left.
ALTER TABLE outbox ADD COLUMN escalated_to TEXT;
-- Key of the mail in which a manager was told that this one was refused or expired.
ALTER TABLE outbox ADD COLUMN told_in TEXT;
UPDATE outbox SET ended_at = expires, told_in = '' WHERE state IN ('refused', 'expired');
UPDATE outbox SET escalated = 1 WHERE state IN ('refused', 'expired');
CREATE INDEX outbox_failed ON outbox (ended_at) WHERE state IN ('refused', 'expired');
