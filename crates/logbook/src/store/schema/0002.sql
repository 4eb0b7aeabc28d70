-- What another network has heard has no gateway of ours.

CREATE TABLE reception_of_all (
    frame INTEGER NOT NULL REFERENCES frame ON DELETE CASCADE,
    arrived_at INTEGER NOT NULL,
    gateway INTEGER REFERENCES gateway,
    rssi REAL,
    snr REAL,
    antenna INTEGER,
    gateway_clock_us INTEGER,
    gps_us INTEGER
) STRICT;
INSERT INTO reception_of_all SELECT frame, arrived_at, gateway, rssi, snr, antenna, gateway_clock_us, gps_us FROM reception;
DROP TABLE reception;
ALTER TABLE reception_of_all RENAME TO reception;
CREATE INDEX reception_of_frame ON reception (frame);
CREATE INDEX session_of_source ON session (node, source, run) WHERE source IS NOT NULL;
