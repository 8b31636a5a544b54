-- Version 3: the register of a shared instrument: what there is, who has it, and the checks against control standards.

-- Instruments, cells, presets and control standards. What belongs to each stands in `content`, whose fields are those of
-- the types of src/instrument/register.rs; every change keeps the fields before in the history.
CREATE TABLE equipment (
    id         INTEGER PRIMARY KEY,
    uid        TEXT NOT NULL UNIQUE,
    kind       TEXT NOT NULL CHECK (kind IN ('instrument', 'cell', 'preset', 'standard')),
    name       TEXT NOT NULL,
    content    TEXT NOT NULL CHECK (json_type(content) = 'object'),
    retired_at TEXT, -- RFC 3339, UTC; nothing is deleted
    revision   INTEGER NOT NULL
) STRICT;

-- A name in use stands once per kind, whatever its case.
CREATE UNIQUE INDEX equipment_name ON equipment (kind, lower(name)) WHERE retired_at IS NULL;

-- Who has a cell, since when, until when, and when it came back.
CREATE TABLE loan (
    id        INTEGER PRIMARY KEY,
    uid       TEXT NOT NULL UNIQUE,
    equipment INTEGER NOT NULL REFERENCES equipment (id),
    borrower  TEXT NOT NULL,
    lent_on   TEXT NOT NULL, -- a date, YYYY-MM-DD
    due_on    TEXT,
    back_on   TEXT
) STRICT;

-- One thing is lent to one person at a time.
CREATE UNIQUE INDEX loan_open ON loan (equipment) WHERE back_on IS NULL;

-- A control standard read on an instrument. Never changed; a wrong one is struck out with a reason in the history.
CREATE TABLE control_check (
    id         INTEGER PRIMARY KEY,
    uid        TEXT NOT NULL UNIQUE,
    instrument INTEGER NOT NULL REFERENCES equipment (id),
    standard   INTEGER NOT NULL REFERENCES equipment (id),
    at         TEXT NOT NULL, -- RFC 3339, UTC
    operator   TEXT NOT NULL,
    content    TEXT NOT NULL CHECK (json_type(content) = 'object'), -- readings, expected value, E_n
    struck_at  TEXT
) STRICT;

CREATE INDEX control_check_of ON control_check (instrument, standard, at);
