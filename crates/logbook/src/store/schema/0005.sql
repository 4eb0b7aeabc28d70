-- A link by which somebody sets a passphrase once; the hash of its word alone.
CREATE TABLE invitation (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL UNIQUE REFERENCES person,
    hash BLOB NOT NULL,
    until INTEGER NOT NULL
) STRICT;

-- The number that whoever noted a visit gave it: sent twice, it is there once.
ALTER TABLE visit ADD COLUMN own_id TEXT;
CREATE UNIQUE INDEX visit_once ON visit (own_id) WHERE own_id IS NOT NULL;
CREATE INDEX visit_of_node ON visit (node, at);
CREATE INDEX login_of_person ON login (person);
