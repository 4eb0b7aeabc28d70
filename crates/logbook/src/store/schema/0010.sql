-- A calibration is part of a visit: what its certificate is called, and when the next is due.
ALTER TABLE visit ADD COLUMN certificate TEXT;
ALTER TABLE visit ADD COLUMN due INTEGER;
