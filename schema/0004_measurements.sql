-- Version 4: own measurements with their raw readings. Nothing here is ever changed or deleted: a correction is a new
-- measurement that supersedes the old one.

CREATE TABLE measurement (
    id          INTEGER PRIMARY KEY,
    uid         TEXT NOT NULL UNIQUE,
    at          TEXT NOT NULL, -- RFC 3339, UTC
    operator    TEXT NOT NULL CHECK (operator <> ''),
    sample      TEXT NOT NULL CHECK (sample <> ''),
    compound    INTEGER REFERENCES compound (id),
    instrument  INTEGER REFERENCES equipment (id),
    cell        INTEGER REFERENCES equipment (id),
    supersedes  INTEGER UNIQUE REFERENCES measurement (id),
    value       REAL NOT NULL, -- deg mL g⁻¹ dm⁻¹
    standard_uncertainty REAL NOT NULL CHECK (standard_uncertainty >= 0),
    degrees_of_freedom REAL,
    concentration REAL,        -- g per 100 mL as weighed; none for a neat liquid
    content     TEXT NOT NULL CHECK (json_type(content) = 'object'), -- conditions and result, as biot reduce shows them
    CHECK (supersedes IS NOT id)
) STRICT;

CREATE INDEX measurement_compound ON measurement (compound) WHERE compound IS NOT NULL;
CREATE INDEX measurement_operator ON measurement (operator, at);
CREATE INDEX measurement_at ON measurement (at);

CREATE TABLE reading (
    measurement INTEGER NOT NULL REFERENCES measurement (id),
    number      INTEGER NOT NULL, -- from 1, in the order in which they came
    line        INTEGER NOT NULL, -- row of the file
    role        TEXT NOT NULL CHECK (role IN ('sample', 'blank', 'standard')),
    angle       REAL NOT NULL, -- degrees
    seconds     REAL,
    temperature REAL,          -- °C
    wavelength  REAL,          -- nm in air
    cell        REAL,          -- dm
    concentration REAL,        -- g per 100 mL
    sample      TEXT,
    operator    TEXT,
    filling     TEXT,
    preparation TEXT,
    absorbance  REAL,
    turbidity   REAL,          -- NTU
    PRIMARY KEY (measurement, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER measurement_is_never_changed BEFORE UPDATE ON measurement
BEGIN
    SELECT RAISE(ABORT, 'a measurement is never changed; keep one that supersedes it');
END;

CREATE TRIGGER measurement_is_never_deleted BEFORE DELETE ON measurement
BEGIN
    SELECT RAISE(ABORT, 'a measurement is never deleted; keep one that supersedes it');
END;

CREATE TRIGGER reading_is_never_changed BEFORE UPDATE ON reading
BEGIN
    SELECT RAISE(ABORT, 'a reading is never changed');
END;

CREATE TRIGGER reading_is_never_deleted BEFORE DELETE ON reading
BEGIN
    SELECT RAISE(ABORT, 'a reading is never deleted');
END;
