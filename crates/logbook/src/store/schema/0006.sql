-- Which field, rule of the site file or way of telling an alarm is about; empty where there is none.
ALTER TABLE alarm ADD COLUMN "of" TEXT NOT NULL DEFAULT '';
CREATE INDEX alarm_open ON alarm (opened_at) WHERE closed_at IS NULL;

-- What is to be told: `what` is the text that is sent, `since` from when on it is tried, `told_at` when it was taken.
ALTER TABLE tell_queue ADD COLUMN what TEXT;
ALTER TABLE tell_queue ADD COLUMN since INTEGER;
ALTER TABLE tell_queue ADD COLUMN told_at INTEGER;
CREATE INDEX tell_queue_due ON tell_queue (due) WHERE told_at IS NULL;
