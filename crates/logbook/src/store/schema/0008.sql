-- What the messages of a node said of it by the end of a day, in words and figures.
CREATE TABLE truth (
    node INTEGER NOT NULL REFERENCES node,
    day INTEGER NOT NULL,
    said TEXT NOT NULL,
    PRIMARY KEY (node, day)
) STRICT, WITHOUT ROWID;
