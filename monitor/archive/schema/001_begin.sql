-- The archive of one board: what was read, what happened, what must last.
--
-- Time. `elapsed` (seconds) and `..._ms` (whole milliseconds) are watch time: they never step and
-- run on over restarts. UTC is not stored with the rows; it follows from `offsets`.
-- Small integers in board, rig, run and tag point into `names`; 0 means none.

CREATE TABLE names (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('board', 'rig', 'run', 'tag')),
    name TEXT NOT NULL,
    UNIQUE (kind, name)
);

-- One row for each boot of the board: elapsed = time since the boot + base.
CREATE TABLE boots (
    boot INTEGER PRIMARY KEY,
    board INTEGER NOT NULL,
    boot_id TEXT NOT NULL,
    base REAL NOT NULL
);

-- UTC = elapsed + ahead. Which row holds for a moment: of its boot, the trusted rows if there is
-- any, else all; of these the latest with since <= elapsed, else the first.
CREATE TABLE offsets (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    since REAL NOT NULL,
    ahead REAL NOT NULL,
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))
);

-- Value = whole number * up / down.
CREATE TABLE scales (
    id INTEGER PRIMARY KEY,
    up REAL NOT NULL,
    down REAL NOT NULL,
    UNIQUE (up, down)
);

-- One row for each tag and interval, cut earlier by a flush. It holds every reading as delivered.
-- low, total and high cover the readings with a value and without a problem word (n - left_out);
-- they are whole numbers of the scale. docs/reference/archive.md tells how the blobs are read.
CREATE TABLE readings (
    boot INTEGER NOT NULL,
    start_ms INTEGER NOT NULL,
    tag INTEGER NOT NULL,
    part INTEGER NOT NULL,         -- tells rows apart that begin in the same millisecond
    board INTEGER NOT NULL,
    rig INTEGER NOT NULL,
    run INTEGER NOT NULL,
    calibration INTEGER NOT NULL,
    span_ms INTEGER NOT NULL,      -- from the earliest to the latest reading
    n INTEGER NOT NULL,
    left_out INTEGER NOT NULL,
    low REAL,
    total REAL,
    high REAL,
    scale INTEGER NOT NULL,        -- 0: the values are kept as floating-point numbers
    form INTEGER NOT NULL,         -- 0: differences from base, 1: from one value to the next
    base INTEGER NOT NULL,
    numbers BLOB,                  -- NULL: every value is base
    times BLOB,                    -- NULL: the readings are evenly spaced
    problems TEXT,                 -- NULL: every reading has a value and no problem word
    PRIMARY KEY (boot, start_ms, tag, part)
) WITHOUT ROWID;

-- Sums over the rows of an hour of watch time, for long views. They follow from `readings`.
CREATE TABLE hours (
    tag INTEGER NOT NULL,
    boot INTEGER NOT NULL,
    hour INTEGER NOT NULL,         -- start_ms / 3600000
    n INTEGER NOT NULL,
    low REAL,
    total REAL,
    high REAL,
    PRIMARY KEY (tag, boot, hour)
) WITHOUT ROWID;

-- How far `hours` is made for each boot; later readings are summed when they are asked for.
CREATE TABLE hours_made (
    boot INTEGER PRIMARY KEY,
    until_ms INTEGER NOT NULL
);

-- Quality flags other than 1 (pass), one row for each reading and test. Only ever added to.
CREATE TABLE flags (
    boot INTEGER NOT NULL,
    elapsed_ms INTEGER NOT NULL,
    tag INTEGER NOT NULL,
    test TEXT NOT NULL,
    flag INTEGER NOT NULL,
    PRIMARY KEY (boot, elapsed_ms, tag, test, flag)
) WITHOUT ROWID;

-- What happened and why. Only ever added to.
CREATE TABLE journal (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    elapsed REAL NOT NULL,
    what TEXT NOT NULL,
    subject TEXT NOT NULL,
    state TEXT NOT NULL,
    grade TEXT NOT NULL,
    cause TEXT NOT NULL,
    who TEXT NOT NULL,
    evidence TEXT NOT NULL,        -- JSON: [[label, shown value], ...]
    text TEXT NOT NULL
);

-- What the watch must still know after a power cut, as one JSON document.
CREATE TABLE state (
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    document TEXT NOT NULL
);

-- Every configuration that was ever in force. Only ever added to.
CREATE TABLE setups (
    version INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    elapsed REAL NOT NULL,
    who TEXT NOT NULL,
    reason TEXT NOT NULL,
    files TEXT NOT NULL            -- JSON: {file name: text}
);

CREATE TABLE texts (
    number INTEGER PRIMARY KEY,
    event INTEGER NOT NULL,
    person TEXT NOT NULL,
    turn TEXT NOT NULL,
    grade TEXT NOT NULL,
    body TEXT NOT NULL,
    boot INTEGER NOT NULL,
    elapsed REAL NOT NULL,
    expires REAL NOT NULL
);

-- What became of each text on each channel. A row is open while next_try is not NULL.
CREATE TABLE outbox (
    text INTEGER NOT NULL,
    channel TEXT NOT NULL,
    state TEXT NOT NULL CHECK (
        state IN ('waiting', 'accepted', 'refused', 'unknown', 'given up', 'expired')
    ),
    attempts INTEGER NOT NULL,
    next_try REAL,
    detail TEXT NOT NULL,
    boot INTEGER NOT NULL,         -- moment of the latest change
    elapsed REAL NOT NULL,
    PRIMARY KEY (text, channel)
) WITHOUT ROWID;
CREATE INDEX outbox_open ON outbox (text) WHERE next_try IS NOT NULL;

CREATE TRIGGER journal_stands_unchanged BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;
CREATE TRIGGER journal_stands BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;
CREATE TRIGGER journal_is_not_replaced BEFORE INSERT ON journal
WHEN EXISTS (SELECT 1 FROM journal WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;

CREATE TRIGGER flags_stand_unchanged BEFORE UPDATE ON flags
BEGIN SELECT RAISE(ABORT, 'quality flags are only added to'); END;
CREATE TRIGGER flags_stand BEFORE DELETE ON flags
BEGIN SELECT RAISE(ABORT, 'quality flags are only added to'); END;

CREATE TRIGGER setups_stand_unchanged BEFORE UPDATE ON setups
BEGIN SELECT RAISE(ABORT, 'set-up versions are only added to'); END;
CREATE TRIGGER setups_stand BEFORE DELETE ON setups
BEGIN SELECT RAISE(ABORT, 'set-up versions are only added to'); END;

CREATE TRIGGER readings_stand_unchanged BEFORE UPDATE ON readings
BEGIN SELECT RAISE(ABORT, 'readings are never rewritten'); END;

-- The rows of `readings` with names and values, for a look with any SQLite tool.
CREATE VIEW readings_plain AS
SELECT
    board.name AS board, rig.name AS rig, run.name AS run, tag.name AS tag,
    r.boot, r.start_ms / 1000.0 AS start, r.span_ms / 1000.0 AS span, r.calibration,
    r.n, r.left_out,
    r.low * coalesce(s.up, 1.0) / coalesce(s.down, 1.0) AS low,
    r.total * coalesce(s.up, 1.0) / coalesce(s.down, 1.0) / (r.n - r.left_out) AS mean,
    r.high * coalesce(s.up, 1.0) / coalesce(s.down, 1.0) AS high
FROM readings AS r
LEFT JOIN scales AS s ON s.id = r.scale
LEFT JOIN names AS board ON board.id = r.board
LEFT JOIN names AS rig ON rig.id = r.rig
LEFT JOIN names AS run ON run.id = r.run
LEFT JOIN names AS tag ON tag.id = r.tag;
