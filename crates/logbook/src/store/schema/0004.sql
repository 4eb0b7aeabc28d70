-- What came while the computer's clock could not be believed: `arrived_at`, and whatever is derived from it, is not the time.
ALTER TABLE frame ADD COLUMN clock_unsure INTEGER CHECK (clock_unsure = 1);
ALTER TABLE reception ADD COLUMN clock_unsure INTEGER CHECK (clock_unsure = 1);
