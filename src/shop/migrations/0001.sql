-- Version 1 of the archive. The same words for SQLite and PostgreSQL.

-- One row a session; what is searched and listed. Texts are without control characters and cut to a length that an index takes; `..._words`
-- are in small letters.
CREATE TABLE session (
    mark BIGINT NOT NULL PRIMARY KEY,
    origin TEXT NOT NULL,
    journal_sha256 TEXT NOT NULL,
    digest TEXT NOT NULL,
    short TEXT NOT NULL,
    entries BIGINT NOT NULL,
    verified BIGINT NOT NULL,
    fault TEXT NOT NULL,
    id TEXT NOT NULL,
    began TEXT NOT NULL,
    ended TEXT NOT NULL,
    began_ms BIGINT NOT NULL,
    day BIGINT NOT NULL,
    finished BIGINT NOT NULL,
    bike TEXT NOT NULL,
    bike_words TEXT NOT NULL,
    mileage TEXT NOT NULL,
    complaint TEXT NOT NULL,
    person TEXT NOT NULL,
    person_words TEXT NOT NULL,
    procedure_id TEXT NOT NULL,
    conclusion TEXT NOT NULL,
    cause TEXT NOT NULL,
    cause_words TEXT NOT NULL,
    remedy TEXT NOT NULL,
    readings BIGINT NOT NULL,
    outside BIGINT NOT NULL,
    outside_words TEXT NOT NULL,
    added TEXT NOT NULL
);

-- Every search reads this one index from the newest session on, and nothing else.
CREATE INDEX session_search ON session (began_ms, mark, day, bike_words, person_words, cause_words, outside, outside_words);
CREATE INDEX session_bike ON session (bike_words, began_ms);
CREATE INDEX session_id ON session (id);

-- The readings that count, for comparing visits.
CREATE TABLE reading (
    session BIGINT NOT NULL REFERENCES session (mark),
    place BIGINT NOT NULL,
    name TEXT NOT NULL,
    round TEXT NOT NULL,
    time TEXT NOT NULL,
    kind TEXT NOT NULL,
    value DOUBLE PRECISION,
    unit TEXT NOT NULL,
    low DOUBLE PRECISION,
    high DOUBLE PRECISION,
    verdict TEXT NOT NULL,
    PRIMARY KEY (session, place)
);

-- The journal, and the copies that were kept with it, deflated; a copy that many sessions have is kept once.
CREATE TABLE journal (
    session BIGINT NOT NULL PRIMARY KEY REFERENCES session (mark),
    bytes BIGINT NOT NULL,
    packed BYTEA NOT NULL
);
CREATE TABLE copy (
    sha256 TEXT NOT NULL PRIMARY KEY,
    bytes BIGINT NOT NULL,
    packed BYTEA NOT NULL
);
CREATE TABLE kept (
    session BIGINT NOT NULL REFERENCES session (mark),
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL REFERENCES copy (sha256),
    PRIMARY KEY (session, name)
);
