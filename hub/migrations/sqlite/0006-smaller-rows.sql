-- Smaller rows for what there is many of. Of a device its key is kept once; a line's digest guards
-- against what is stale and what was damaged, not against who means harm, and half of one does.

CREATE TABLE author (
    id  INTEGER PRIMARY KEY,
    key BLOB NOT NULL UNIQUE CHECK (length(key) = 32)
) STRICT;

INSERT INTO author (key) SELECT DISTINCT key FROM author_seal ORDER BY key;

CREATE TABLE author_seal_anew (
    document  BLOB NOT NULL CHECK (length(document) = 16),
    actor     BLOB NOT NULL,
    author    INTEGER NOT NULL REFERENCES author (id),
    sequence  INTEGER NOT NULL CHECK (sequence > 0),
    hash      BLOB NOT NULL CHECK (length(hash) = 32),
    signature BLOB NOT NULL CHECK (length(signature) = 64),
    PRIMARY KEY (document, actor, author)
) STRICT, WITHOUT ROWID;

INSERT INTO author_seal_anew (document, actor, author, sequence, hash, signature)
    SELECT document, actor, author.id, sequence, hash, signature
    FROM author_seal JOIN author ON author.key = author_seal.key;

DROP TABLE author_seal;
ALTER TABLE author_seal_anew RENAME TO author_seal;

-- Worked out again when it is asked for.
DROP TABLE summary;

CREATE TABLE summary (
    document BLOB PRIMARY KEY CHECK (length(document) = 16),
    said     TEXT NOT NULL,
    digest   BLOB NOT NULL CHECK (length(digest) = 16)
) STRICT, WITHOUT ROWID;
