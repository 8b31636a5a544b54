-- Version 2: findings that a person has accepted, second keyings, imports that were taken back.

-- An accepted finding stays quiet. Its id follows from its kind and the content of its entries, so it comes back when one
-- of them changes; a row without a finding does no harm.
CREATE TABLE accepted_finding (
    id      TEXT NOT NULL PRIMARY KEY,
    code    TEXT NOT NULL,
    entries TEXT NOT NULL CHECK (json_type(entries) = 'array'), -- stable ids
    reason  TEXT NOT NULL, -- what the finding said
    at      TEXT NOT NULL,
    who     TEXT NOT NULL,
    why     TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- What another person read at the same place without seeing the first keying.
CREATE TABLE second_keying (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    entry    INTEGER NOT NULL REFERENCES entry (id),
    revision INTEGER NOT NULL, -- of the entry, when it was keyed a second time
    at       TEXT NOT NULL,
    who      TEXT NOT NULL,
    fields   TEXT NOT NULL CHECK (json_type(fields) = 'object'), -- what was keyed, field by field
    differences TEXT NOT NULL CHECK (json_type(differences) = 'array'),
    same_person TEXT -- why the first keyer keyed again
) STRICT;

CREATE INDEX second_keying_entry ON second_keying (entry);

-- Drafts wait for review; there are few of them in a large library.
CREATE INDEX entry_draft ON entry (id) WHERE state = 'draft';

-- When an import was taken back, and by whom; its line in the history says why.
ALTER TABLE import_batch ADD COLUMN undone_at TEXT;
ALTER TABLE import_batch ADD COLUMN undone_by TEXT;
