-- The library file, version 1. One statement of rotation is one row of `entry`; every number keeps the digits it was
-- printed with as a pair of columns (value, decimals), so that nothing is lost between print and file.
-- Nothing here is read whole at start-up: every question of a check is a few look-ups in the indices below.

PRAGMA application_id = 1112100692; -- 'BIOT' in ASCII

CREATE TABLE meta (
    key   TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Bulk loads: so that one can be looked at, and taken back, as a whole.
CREATE TABLE import_batch (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    at       TEXT NOT NULL,
    who      TEXT NOT NULL,
    what     TEXT NOT NULL,
    n_compounds INTEGER NOT NULL,
    n_sources   INTEGER NOT NULL,
    n_entries   INTEGER NOT NULL,
    digest   TEXT NOT NULL  -- SHA-256 over the entries as they were loaded
) STRICT;

CREATE TABLE compound (
    id           INTEGER PRIMARY KEY,
    uid          TEXT NOT NULL UNIQUE,
    name         TEXT NOT NULL,
    smiles       TEXT,
    inchi        TEXT,
    inchikey     TEXT CHECK (length(inchikey) = 27),
    connectivity TEXT GENERATED ALWAYS AS (substr(inchikey, 1, 14)) VIRTUAL,
    mirror_key   TEXT CHECK (length(mirror_key) = 27), -- InChIKey of the mirror image, where it differs
    parent_key   TEXT, -- the first two blocks of the InChIKey of the largest component
    descriptor   TEXT,
    formula      TEXT,
    molar_mass   REAL CHECK (molar_mass > 0), -- g/mol
    chirality    TEXT NOT NULL CHECK (chirality IN ('chiral', 'meso', 'achiral', 'open', 'unknown')),
    merged_into  INTEGER REFERENCES compound (id),
    batch        INTEGER REFERENCES import_batch (id),
    changed      INTEGER NOT NULL, -- state of the library (meta: state) when its names last changed
    CHECK (merged_into IS NOT id)
) STRICT;

-- A structure without an own descriptor stands once; COALESCE lets two gossypols share one key.
CREATE UNIQUE INDEX compound_key ON compound (inchikey, COALESCE(descriptor, ''))
    WHERE inchikey IS NOT NULL AND merged_into IS NULL;
CREATE INDEX compound_connectivity ON compound (connectivity) WHERE inchikey IS NOT NULL;
CREATE INDEX compound_parent ON compound (parent_key) WHERE parent_key IS NOT NULL;
CREATE INDEX compound_formula ON compound (formula) WHERE formula IS NOT NULL;
CREATE INDEX compound_descriptor ON compound (descriptor) WHERE descriptor IS NOT NULL;
CREATE INDEX compound_changed ON compound (changed);
CREATE INDEX compound_merged ON compound (merged_into) WHERE merged_into IS NOT NULL;

CREATE TABLE compound_name (
    id       INTEGER PRIMARY KEY,
    compound INTEGER NOT NULL REFERENCES compound (id),
    name     TEXT NOT NULL,
    kind     TEXT NOT NULL CHECK (kind IN ('preferred', 'other')),
    folded   TEXT NOT NULL, -- dashes, primes, Greek letters, case brought to one form
    stem     TEXT NOT NULL, -- folded, without stereodescriptors
    UNIQUE (compound, name)
) STRICT;

CREATE INDEX compound_name_folded ON compound_name (folded);
CREATE INDEX compound_name_stem ON compound_name (stem);

CREATE TABLE cas_number (
    number   TEXT NOT NULL,
    compound INTEGER NOT NULL REFERENCES compound (id),
    PRIMARY KEY (number, compound)
) STRICT, WITHOUT ROWID;

CREATE INDEX cas_number_compound ON cas_number (compound);

CREATE TABLE source (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    kind     TEXT NOT NULL CHECK (kind IN ('paper', 'patent', 'book', 'thesis', 'teaching', 'standard', 'compilation',
                                           'data-sheet', 'own', 'other')),
    citation TEXT NOT NULL,
    doi      TEXT,
    year     INTEGER,
    url      TEXT,
    batch    INTEGER REFERENCES import_batch (id),
    changed  INTEGER NOT NULL
) STRICT;

CREATE INDEX source_citation ON source (citation);
CREATE INDEX source_doi ON source (doi) WHERE doi IS NOT NULL;
CREATE INDEX source_changed ON source (changed);

CREATE TABLE entry (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    compound INTEGER NOT NULL REFERENCES compound (id),
    source   INTEGER NOT NULL REFERENCES source (id),
    kind     TEXT NOT NULL CHECK (kind IN ('value', 'specification')),
    identity TEXT NOT NULL CHECK (identity IN ('sure', 'likely', 'unclear')),
    hand     TEXT NOT NULL CHECK (hand IN ('independent', 'inferred', 'unclear')),
    state    TEXT NOT NULL CHECK (state IN ('draft', 'confirmed', 'withdrawn')),
    kept_out TEXT,
    substance TEXT,
    seen     TEXT,
    comment  TEXT,
    preparation TEXT,        -- of a specification: the solution, in words
    divide_by   REAL,        -- of a specification: the stated factor
    divide_by_decimals INTEGER,
    revision INTEGER NOT NULL DEFAULT 0 CHECK (revision >= 0),
    batch    INTEGER REFERENCES import_batch (id),

    rotation TEXT NOT NULL CHECK (rotation IN ('specific', 'observed', 'molar')),
    value REAL, value_decimals INTEGER,
    low REAL, low_decimals INTEGER,
    high REAL, high_decimals INTEGER,
    sign TEXT NOT NULL CHECK (sign IN ('stated', 'not-stated', 'ambiguous')),
    plus_minus REAL, plus_minus_decimals INTEGER,
    approx INTEGER NOT NULL CHECK (approx IN (0, 1)),
    temperature REAL, temperature_decimals INTEGER, -- °C, or the low end of a range
    temperature_high REAL, temperature_high_decimals INTEGER,
    temperature_words TEXT,
    line TEXT CHECK (line IN ('sodium-D', 'wavelength', 'named')),
    wavelength REAL,         -- nm, in the medium named beside it
    medium TEXT CHECK (medium IN ('air', 'vacuum')),
    line_name TEXT,
    solvent TEXT,            -- canonical text
    concentration REAL, concentration_decimals INTEGER,
    concentration_high REAL, concentration_high_decimals INTEGER,
    concentration_unit TEXT,
    concentration_unit_printed INTEGER CHECK (concentration_unit_printed IN (0, 1)),
    path REAL,               -- dm
    form TEXT,
    basis TEXT,
    stage TEXT CHECK (stage IN ('initial', 'final')),
    time_note TEXT,
    ee REAL, ee_decimals INTEGER, -- per cent
    ee_at_least INTEGER CHECK (ee_at_least IN (0, 1)),
    ee_method TEXT,
    role TEXT CHECK (role IN ('measured', 'lit', 'compiled')),
    enantiomer_note TEXT,
    as_printed TEXT NOT NULL,
    place TEXT,
    doubts TEXT NOT NULL CHECK (json_type(doubts) = 'array'),

    CHECK ((value IS NULL) = (value_decimals IS NULL)),
    CHECK ((low IS NULL) = (low_decimals IS NULL)),
    CHECK ((high IS NULL) = (high_decimals IS NULL)),
    CHECK ((concentration IS NULL) = (concentration_unit IS NULL))
) STRICT;

CREATE INDEX entry_compound ON entry (compound, solvent);
CREATE INDEX entry_source ON entry (source, compound);
CREATE INDEX entry_batch ON entry (batch) WHERE batch IS NOT NULL;

-- Append-only. `hash` is SHA-256 over the previous hash and every field, so that a later change of the past shows.
CREATE TABLE history (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    at         TEXT NOT NULL,
    who        TEXT NOT NULL,
    action     TEXT NOT NULL,
    entity     TEXT NOT NULL,
    entity_uid TEXT NOT NULL,
    before     TEXT,
    after      TEXT,
    why        TEXT NOT NULL,
    prev_hash  TEXT NOT NULL,
    hash       TEXT NOT NULL
) STRICT;

CREATE INDEX history_entity ON history (entity_uid);

CREATE TRIGGER history_is_never_changed BEFORE UPDATE ON history
BEGIN
    SELECT RAISE(ABORT, 'the history is append-only');
END;

CREATE TRIGGER history_is_never_deleted BEFORE DELETE ON history
BEGIN
    SELECT RAISE(ABORT, 'the history is append-only');
END;

INSERT INTO meta (key, value) VALUES ('state', '1');
