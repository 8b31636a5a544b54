-- Version 5: accounts of the people and programs that reach the library through a server. Nothing here guards the file
-- itself. Secrets are stored as digests only. Moments are seconds since 1970-01-01T00:00:00Z.

CREATE TABLE account (
    id           INTEGER PRIMARY KEY,
    uid          TEXT NOT NULL UNIQUE,
    name         TEXT NOT NULL CHECK (name <> ''), -- as the history names them
    folded       TEXT NOT NULL,                    -- the name in the form in which names are compared
    role         TEXT NOT NULL
                 CHECK (role IN ('reader', 'contributor', 'librarian', 'instrument-keeper', 'administrator')),
    password     TEXT NOT NULL,                    -- argon2id, as a PHC string
    made         INTEGER NOT NULL,
    failed       INTEGER NOT NULL DEFAULT 0 CHECK (failed >= 0), -- sign-ins that failed in a row
    locked_until INTEGER,
    removed      INTEGER
) STRICT;

CREATE UNIQUE INDEX account_name ON account (folded) WHERE removed IS NULL;

CREATE TABLE session (
    digest  TEXT NOT NULL PRIMARY KEY, -- SHA-256 of the secret that the browser keeps
    account INTEGER NOT NULL REFERENCES account (id),
    began   INTEGER NOT NULL,
    seen    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX session_account ON session (account);

CREATE TABLE access_token (
    id      INTEGER PRIMARY KEY,
    uid     TEXT NOT NULL UNIQUE,
    digest  TEXT NOT NULL UNIQUE,      -- SHA-256 of the token
    account INTEGER NOT NULL REFERENCES account (id),
    label   TEXT NOT NULL CHECK (label <> ''),
    made    INTEGER NOT NULL,
    expires INTEGER NOT NULL,
    revoked INTEGER
) STRICT;

CREATE INDEX access_token_account ON access_token (account);
