-- Checks that were kept, each as it was answered. Nothing here is ever changed or deleted: a later check of the
-- same sample is kept under another name.

CREATE TABLE kept_check (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    at       TEXT NOT NULL, -- RFC 3339, UTC
    who      TEXT NOT NULL,
    name     TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (name <> ''),
    compound INTEGER NOT NULL REFERENCES compound (id),
    digest   TEXT NOT NULL, -- over question, answer and state of the library, as the report prints it
    content  TEXT NOT NULL CHECK (json_type(content) = 'object') -- question, answer and the report as it was written
) STRICT;

CREATE TRIGGER kept_check_is_never_changed BEFORE UPDATE ON kept_check
BEGIN
    SELECT RAISE(ABORT, 'a kept check is never changed; keep another one');
END;

CREATE TRIGGER kept_check_is_never_deleted BEFORE DELETE ON kept_check
BEGIN
    SELECT RAISE(ABORT, 'a kept check is never deleted');
END;
