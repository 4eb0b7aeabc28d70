-- A reading no longer points at its frame by a foreign key: when strangers' frames are removed, every reading was looked
-- through for each of them. The number stays.
CREATE TABLE reading_of_all (
    node INTEGER NOT NULL REFERENCES node,
    at INTEGER NOT NULL,
    message TEXT NOT NULL,
    frame INTEGER NOT NULL,
    edition INTEGER NOT NULL REFERENCES edition,
    vals TEXT NOT NULL,
    marks TEXT,
    rebuilt INTEGER NOT NULL,
    late INTEGER NOT NULL,
    PRIMARY KEY (node, at, message, frame, rebuilt)
) STRICT, WITHOUT ROWID;
INSERT INTO reading_of_all SELECT node, at, message, frame, edition, vals, marks, rebuilt, late FROM reading;
DROP TABLE reading;
ALTER TABLE reading_of_all RENAME TO reading;

-- A run of a source is there once.
DROP INDEX session_of_source;
CREATE UNIQUE INDEX session_of_source ON session (node, source, run) WHERE source IS NOT NULL;

-- What was expected of a day: the voltage at the battery's poles, for one.
CREATE TABLE band (
    node INTEGER NOT NULL REFERENCES node,
    day INTEGER NOT NULL,
    quantity TEXT NOT NULL,
    p05 REAL NOT NULL,
    p50 REAL NOT NULL,
    p95 REAL NOT NULL,
    PRIMARY KEY (node, day, quantity)
) STRICT, WITHOUT ROWID;

-- What was learned of a node since a part of it was changed.
CREATE TABLE swarm (
    node INTEGER NOT NULL REFERENCES node,
    epoch INTEGER NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (node, epoch)
) STRICT;

-- Of words and tokens the hashes alone.
CREATE TABLE person (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    may TEXT NOT NULL CHECK (may IN ('read', 'act', 'keys')),
    hash TEXT,
    added_at INTEGER NOT NULL,
    removed_at INTEGER
) STRICT;

CREATE TABLE login (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    hash BLOB NOT NULL UNIQUE,
    since INTEGER NOT NULL,
    last_seen INTEGER NOT NULL,
    until INTEGER NOT NULL
) STRICT;

CREATE TABLE api_token (
    id INTEGER PRIMARY KEY,
    person INTEGER REFERENCES person,
    name TEXT NOT NULL,
    may TEXT NOT NULL CHECK (may IN ('read', 'act', 'keys')),
    hash BLOB NOT NULL UNIQUE,
    added_at INTEGER NOT NULL,
    last_used INTEGER,
    removed_at INTEGER
) STRICT;
