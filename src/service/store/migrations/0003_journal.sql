-- The journal. Rows are only ever added: a slip is answered by an entry that names the one it replaces.
CREATE TABLE journal (
    id         INTEGER PRIMARY KEY,
    garden     TEXT    NOT NULL,
    key        TEXT    NOT NULL, -- made from all that the entry says: the same in every store
    kind       TEXT    NOT NULL,
    at         INTEGER NOT NULL, -- when it was so; of a span its end
    bed        TEXT,
    entered_at INTEGER NOT NULL,
    entered_by TEXT,
    as_typed   TEXT    NOT NULL,
    replaces   TEXT,             -- key of the entry that this one stands for
    document   TEXT    NOT NULL, -- what it says, as JSON
    UNIQUE (garden, key)
) STRICT;
CREATE INDEX journal_by_time ON journal (garden, at);
CREATE INDEX journal_by_kind ON journal (garden, kind, at);
CREATE INDEX journal_replacing ON journal (garden, replaces) WHERE replaces IS NOT NULL;

-- Readings typed in before this release. Their key is their number with a letter in front that no other key has.
INSERT INTO journal (garden, key, kind, at, bed, entered_at, as_typed, document)
SELECT garden, printf('u%011d', id), 'reading', at, bed, entered_at, as_typed,
       CASE WHEN bed IS NULL
            THEN json_object('kind', 'reading', 'place', 'screen', 'temperature', celsius,
                             'dew_point', dew_point_celsius, 'of', 'instant',
                             'thermometer', NULL, 'height', NULL, 'shielded', NULL)
            ELSE json_object('kind', 'reading', 'place', 'bed', 'bed', bed, 'temperature', celsius,
                             'dew_point', dew_point_celsius, 'of', 'instant',
                             'thermometer', NULL, 'height', NULL, 'shielded', NULL)
       END
FROM readings ORDER BY id;
DROP TABLE readings;

-- Entries that nothing was put in the place of.
CREATE VIEW standing AS
SELECT * FROM journal WHERE NOT EXISTS
    (SELECT 1 FROM journal AS later WHERE later.garden = journal.garden AND later.replaces = journal.key)
    AND kind <> 'struck';

-- Air as it was read by hand, at the garden's screen or at a bed: what a forecast is corrected with.
CREATE VIEW readings AS
SELECT id, garden, bed, at, entered_at, CAST(document ->> 'temperature' AS REAL) AS celsius,
       CAST(document ->> 'dew_point' AS REAL) AS dew_point_celsius, as_typed
FROM standing
WHERE kind = 'reading' AND document ->> 'place' IN ('screen', 'bed') AND document ->> 'of' = 'instant';

-- One thermometer in one place: what the rows of its logs have in common. Empty texts and -1 mean that nobody said, so
-- that two that are alike are one.
CREATE TABLE series (
    id          INTEGER PRIMARY KEY,
    garden      TEXT NOT NULL,
    place       TEXT NOT NULL CHECK (place IN ('screen', 'bed', 'under-cover', 'soil')),
    bed         TEXT NOT NULL,
    cover       TEXT NOT NULL,
    sampled     TEXT NOT NULL CHECK (sampled IN ('instant', 'minimum', 'maximum')),
    source      TEXT NOT NULL, -- the thermometer's own name
    height      REAL NOT NULL,
    UNIQUE (garden, place, bed, cover, sampled, source, height)
) STRICT;

-- The rows of logs. A time that is there twice came with an import that was struck.
CREATE TABLE logged (
    series  INTEGER NOT NULL REFERENCES series,
    at      INTEGER NOT NULL,
    import  INTEGER NOT NULL REFERENCES journal,
    celsius REAL    NOT NULL,
    PRIMARY KEY (series, at, import)
) STRICT, WITHOUT ROWID;

-- What was foretold at each round: the last forecast of a feed alone is kept as a document.
CREATE TABLE forecast_at_round (
    garden      TEXT    NOT NULL,
    night       TEXT    NOT NULL,
    made_at     INTEGER NOT NULL,
    round       TEXT    NOT NULL,
    provider    TEXT,             -- none: readings alone
    issued      INTEGER,
    low         REAL    NOT NULL, -- lowest temperature at the screen, expected, C
    spread      REAL    NOT NULL, -- its standard deviation, K
    feed_low    REAL,             -- lowest hour of the feed itself, C: without our shifts, readings or offset
    lead_hours  REAL    NOT NULL, -- from the forecast's issue, or its fetch, to sunrise
    cloud       REAL    NOT NULL, -- mean of the night, 0 to 1
    wind_10m    REAL    NOT NULL, -- mean of the night, m/s
    clear_calm  REAL    NOT NULL, -- 0 to 1
    sky         TEXT    NOT NULL CHECK (sky IN ('clear', 'partly', 'overcast')),
    readings    INTEGER NOT NULL, -- of the evening, that had a part in it
    PRIMARY KEY (garden, night, made_at, round)
) STRICT, WITHOUT ROWID;

-- Imports that were a slip: their rows stay and do not count.
CREATE VIEW struck_imports AS
SELECT journal.id FROM journal WHERE kind = 'imported' AND EXISTS
    (SELECT 1 FROM journal AS later WHERE later.garden = journal.garden AND later.replaces = journal.key);
