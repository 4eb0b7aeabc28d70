-- What a node is to be told, as it travels: told again after a restart.
ALTER TABLE setting ADD COLUMN port INTEGER;
ALTER TABLE setting ADD COLUMN payload BLOB;
CREATE INDEX setting_by_state ON setting (state, id);
