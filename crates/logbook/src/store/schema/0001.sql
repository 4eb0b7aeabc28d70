-- Times are microseconds since 1970-01-01 UTC; EUIs and addresses are hex digits as people write them.
-- No key stands here: session keys follow from the root key and the nonces.

CREATE TABLE migration (number INTEGER PRIMARY KEY, checksum TEXT NOT NULL) STRICT;
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;

CREATE TABLE node (
    id INTEGER PRIMARY KEY,
    dev_eui TEXT NOT NULL UNIQUE,
    join_eui TEXT NOT NULL,
    dev_addr TEXT UNIQUE,
    dev_nonce INTEGER,
    join_nonce INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE session (
    id INTEGER PRIMARY KEY,
    node INTEGER NOT NULL REFERENCES node,
    source TEXT,
    run INTEGER,
    state TEXT NOT NULL CHECK (state IN ('pending', 'open', 'closed')),
    dev_nonce INTEGER,
    join_nonce INTEGER,
    net_id TEXT,
    dev_addr TEXT,
    last_up INTEGER,
    last_down INTEGER,
    rx1_delay_s INTEGER,
    opened INTEGER,
    closed INTEGER
) STRICT;
CREATE INDEX session_of_node ON session (node, state);
CREATE UNIQUE INDEX session_once ON session (node, join_nonce) WHERE source IS NULL;

CREATE TABLE gateway (
    id INTEGER PRIMARY KEY,
    name TEXT,
    eui TEXT NOT NULL UNIQUE,
    last_sign_of_life INTEGER,
    last_address TEXT,
    last_report INTEGER
) STRICT;

CREATE TABLE gateway_report (
    gateway INTEGER NOT NULL REFERENCES gateway,
    at INTEGER NOT NULL,
    heard INTEGER,
    intact INTEGER,
    passed_on INTEGER,
    acknowledged_share REAL,
    answers_received INTEGER,
    answers_sent INTEGER,
    latitude REAL,
    longitude REAL,
    extra TEXT,
    PRIMARY KEY (gateway, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE frame (
    id INTEGER PRIMARY KEY,
    seq INTEGER NOT NULL,
    arrived_at INTEGER NOT NULL,
    at INTEGER NOT NULL,
    at_from TEXT NOT NULL CHECK (at_from IN ('gateway', 'upstream', 'arrival')),
    kind TEXT NOT NULL CHECK (kind IN ('up', 'join', 'other')),
    verdict TEXT NOT NULL,
    reason TEXT,
    session INTEGER REFERENCES session,
    fcnt INTEGER,
    port INTEGER,
    confirmed INTEGER,
    adr INTEGER,
    bytes BLOB NOT NULL,
    payload BLOB,
    options BLOB,
    data_rate TEXT,
    freq_hz INTEGER,
    airtime_us INTEGER,
    source TEXT NOT NULL,
    report_key TEXT
) STRICT;
CREATE UNIQUE INDEX frame_once ON frame (session, fcnt) WHERE verdict IN ('new', 'late');
CREATE UNIQUE INDEX report_once ON frame (session, report_key) WHERE report_key IS NOT NULL;
CREATE INDEX frame_at ON frame (at);
CREATE INDEX frame_of_session ON frame (session, at);
CREATE INDEX frame_by_verdict ON frame (verdict, at);

CREATE TABLE reception (
    frame INTEGER NOT NULL REFERENCES frame ON DELETE CASCADE,
    arrived_at INTEGER NOT NULL,
    gateway INTEGER NOT NULL REFERENCES gateway,
    rssi REAL,
    snr REAL,
    antenna INTEGER,
    gateway_clock_us INTEGER,
    gps_us INTEGER
) STRICT;
CREATE INDEX reception_of_frame ON reception (frame);

CREATE TABLE edition (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    digest TEXT NOT NULL UNIQUE,
    design TEXT NOT NULL,
    since INTEGER NOT NULL,
    until INTEGER,
    fields TEXT NOT NULL
) STRICT;

CREATE TABLE reading (
    node INTEGER NOT NULL REFERENCES node,
    at INTEGER NOT NULL,
    message TEXT NOT NULL,
    frame INTEGER NOT NULL REFERENCES frame,
    edition INTEGER NOT NULL REFERENCES edition,
    vals TEXT NOT NULL,
    marks TEXT,
    rebuilt INTEGER NOT NULL,
    late INTEGER NOT NULL,
    PRIMARY KEY (node, at, message, frame, rebuilt)
) STRICT, WITHOUT ROWID;

CREATE TABLE hour (
    node INTEGER NOT NULL REFERENCES node,
    message TEXT NOT NULL,
    field TEXT NOT NULL,
    hour INTEGER NOT NULL,
    n INTEGER NOT NULL,
    least REAL,
    mean REAL,
    greatest REAL,
    marked INTEGER NOT NULL,
    PRIMARY KEY (node, message, field, hour)
) STRICT, WITHOUT ROWID;

CREATE TABLE day (
    node INTEGER NOT NULL REFERENCES node,
    message TEXT NOT NULL,
    field TEXT NOT NULL,
    day INTEGER NOT NULL,
    n INTEGER NOT NULL,
    least REAL,
    mean REAL,
    greatest REAL,
    marked INTEGER NOT NULL,
    PRIMARY KEY (node, message, field, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE stale_hour (node INTEGER NOT NULL, hour INTEGER NOT NULL, PRIMARY KEY (node, hour)) STRICT, WITHOUT ROWID;

CREATE TABLE downlink (
    id INTEGER PRIMARY KEY,
    node INTEGER NOT NULL REFERENCES node,
    session INTEGER REFERENCES session,
    fcnt INTEGER,
    gateway INTEGER REFERENCES gateway,
    asked_at INTEGER NOT NULL,
    "window" TEXT,
    freq_hz INTEGER,
    data_rate TEXT,
    airtime_us INTEGER,
    bytes BLOB,
    why TEXT NOT NULL,
    outcome TEXT
) STRICT;
CREATE UNIQUE INDEX downlink_once ON downlink (session, fcnt);
CREATE INDEX downlink_of_gateway ON downlink (gateway, asked_at);

CREATE TABLE setting (
    id INTEGER PRIMARY KEY,
    node INTEGER NOT NULL REFERENCES node,
    message TEXT NOT NULL,
    vals TEXT NOT NULL,
    asked_by TEXT NOT NULL,
    asked_at INTEGER NOT NULL,
    state TEXT NOT NULL,
    confirmed_by_frame INTEGER REFERENCES frame
) STRICT;

CREATE TABLE alarm (
    id INTEGER PRIMARY KEY,
    rule TEXT NOT NULL,
    node INTEGER REFERENCES node,
    gateway INTEGER REFERENCES gateway,
    opened_at INTEGER NOT NULL,
    seen_at INTEGER,
    seen_by TEXT,
    word TEXT,
    closed_at INTEGER,
    cause INTEGER REFERENCES alarm,
    evidence TEXT NOT NULL,
    told TEXT
) STRICT;

CREATE TABLE visit (
    id INTEGER PRIMARY KEY,
    node INTEGER NOT NULL REFERENCES node,
    at INTEGER NOT NULL,
    "by" TEXT NOT NULL,
    what TEXT NOT NULL,
    parts TEXT,
    before TEXT,
    after TEXT,
    photo_file TEXT
) STRICT;

CREATE TABLE pause (
    node INTEGER NOT NULL REFERENCES node,
    "from" INTEGER NOT NULL,
    until INTEGER,
    why TEXT NOT NULL,
    PRIMARY KEY (node, "from")
) STRICT, WITHOUT ROWID;

CREATE TABLE deed (id INTEGER PRIMARY KEY, at INTEGER NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL, "on" TEXT) STRICT;

CREATE TABLE tell_queue (
    id INTEGER PRIMARY KEY,
    alarm INTEGER REFERENCES alarm,
    way TEXT NOT NULL,
    due INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    last_error TEXT
) STRICT;
