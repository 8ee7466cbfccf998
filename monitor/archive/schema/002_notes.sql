-- Notes by people, the event of a journal row, and journal rows by time.

-- The event a row belongs to, 0 for none.
ALTER TABLE journal ADD COLUMN event INTEGER NOT NULL DEFAULT 0;
DROP TRIGGER journal_stands_unchanged;
UPDATE journal SET event = CAST(subject AS INTEGER)
WHERE what IN ('event', 'answer') AND subject <> '' AND subject NOT GLOB '*[^0-9]*';
CREATE TRIGGER journal_stands_unchanged BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;

CREATE INDEX journal_by_time ON journal (boot, elapsed);
CREATE INDEX journal_by_event ON journal (event) WHERE event <> 0;

-- What a person wrote down. Only ever added to: an amendment is a row of its own.
CREATE TABLE notes (
    number INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,         -- moment at which it was entered
    elapsed REAL NOT NULL,
    at REAL NOT NULL,              -- UTC seconds of what it tells of, as the person said
    run TEXT NOT NULL,
    kind TEXT NOT NULL,
    who TEXT NOT NULL,
    way TEXT NOT NULL,
    said TEXT NOT NULL,            -- JSON: {field: text as it was written}
    amends INTEGER NOT NULL,       -- number of the note in whose place it stands, 0 for none
    reason TEXT NOT NULL,          -- why it was amended
    origin TEXT NOT NULL           -- file, sheet and row of an imported note
);
CREATE INDEX notes_by_run ON notes (run, at);

CREATE TRIGGER notes_stand_unchanged BEFORE UPDATE ON notes
BEGIN SELECT RAISE(ABORT, 'notes are only added to'); END;
CREATE TRIGGER notes_stand BEFORE DELETE ON notes
BEGIN SELECT RAISE(ABORT, 'notes are only added to'); END;
CREATE TRIGGER notes_are_not_replaced BEFORE INSERT ON notes
WHEN EXISTS (SELECT 1 FROM notes WHERE number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'notes are only added to'); END;
