-- Every time is a whole number of seconds since 1970-01-01 00:00 UTC; read it with datetime(due, 'unixepoch').
-- A night is the date of its evening, as 2026-01-15.

-- The last forecast of each feed of each garden.
CREATE TABLE forecasts (
    garden        TEXT    NOT NULL,
    feed          TEXT    NOT NULL,
    provider      TEXT    NOT NULL,
    document      TEXT    NOT NULL, -- the forecast as JSON
    fetched       INTEGER NOT NULL,
    issued        INTEGER,
    etag          TEXT,
    last_modified TEXT,             -- as the server wrote it: it is sent back unchanged
    expires       INTEGER,
    PRIMARY KEY (garden, feed)
) STRICT, WITHOUT ROWID;

-- Where a feed that is addressed by grid cell keeps a garden's cell.
CREATE TABLE grid_addresses (
    garden    TEXT    NOT NULL,
    feed      TEXT    NOT NULL,
    address   TEXT    NOT NULL,
    looked_up INTEGER NOT NULL,
    PRIMARY KEY (garden, feed)
) STRICT, WITHOUT ROWID;

-- What thermometers said. Rows are only ever added.
CREATE TABLE readings (
    id                INTEGER PRIMARY KEY,
    garden            TEXT    NOT NULL,
    bed               TEXT,             -- none: the garden's own thermometer
    at                INTEGER NOT NULL,
    entered_at        INTEGER NOT NULL,
    celsius           REAL    NOT NULL,
    dew_point_celsius REAL,
    as_typed          TEXT    NOT NULL
) STRICT;
CREATE INDEX readings_by_time ON readings (garden, at);

-- What each garden was last told about a night.
CREATE TABLE said (
    garden   TEXT    NOT NULL,
    night    TEXT    NOT NULL,
    revision INTEGER NOT NULL,
    document TEXT    NOT NULL,
    said_at  INTEGER NOT NULL,
    PRIMARY KEY (garden, night, revision)
) STRICT, WITHOUT ROWID;

-- Which planned looks took place.
CREATE TABLE rounds (
    garden       TEXT    NOT NULL,
    kind         TEXT    NOT NULL,
    due          INTEGER NOT NULL,
    night        TEXT    NOT NULL,
    state        TEXT    NOT NULL CHECK (state IN ('done', 'missed', 'merged')),
    finished_at  INTEGER NOT NULL,
    late_seconds INTEGER NOT NULL,
    PRIMARY KEY (garden, kind, due)
) STRICT, WITHOUT ROWID;
CREATE INDEX rounds_by_due ON rounds (garden, due);

-- Mail to be sent, being sent, and what became of it.
CREATE TABLE outbox (
    key             TEXT    NOT NULL PRIMARY KEY,
    recipient       TEXT    NOT NULL,
    garden          TEXT    NOT NULL,
    night           TEXT    NOT NULL,
    kind            TEXT    NOT NULL,
    revision        INTEGER NOT NULL,
    replaceable     INTEGER NOT NULL CHECK (replaceable IN (0, 1)),
    message_id      TEXT    NOT NULL,
    envelope_from   TEXT    NOT NULL,
    bytes           BLOB    NOT NULL,
    due             INTEGER NOT NULL,
    expires         INTEGER NOT NULL,
    tries           INTEGER NOT NULL DEFAULT 0,
    state           TEXT    NOT NULL DEFAULT 'waiting' CHECK (state IN
                    ('waiting', 'leased', 'unknown', 'sent', 'refused', 'expired', 'superseded')),
    owner           TEXT,
    lease_until     INTEGER,
    fence           INTEGER NOT NULL DEFAULT 0,
    maybe_delivered INTEGER NOT NULL DEFAULT 0 CHECK (maybe_delivered IN (0, 1)),
    last_answer     TEXT,
    -- Whether somebody else was told that this mail was refused or expired.
    escalated       INTEGER NOT NULL DEFAULT 0 CHECK (escalated IN (0, 1))
) STRICT;
CREATE INDEX outbox_open ON outbox (expires) WHERE state IN ('waiting', 'leased', 'unknown');
CREATE INDEX outbox_unescalated ON outbox (night) WHERE state IN ('refused', 'expired') AND NOT escalated;
CREATE INDEX outbox_by_night ON outbox (garden, night, recipient);
