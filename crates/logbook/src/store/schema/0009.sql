-- When another network was asked to tell a node something; empty where the log's own network tells it.
ALTER TABLE setting ADD COLUMN sent_at INTEGER;
