-- Documents in their saved form, the lines of the list of visits, and a seal on what is not hashed.
-- A saved form holds a document's changes up to a position. Where all of them are known to be at
-- another node too, their rows go and a run says which positions they had: the log stays as it was.

CREATE TABLE saved (
    id       INTEGER PRIMARY KEY,
    document BLOB NOT NULL UNIQUE CHECK (length(document) = 16),
    upto     INTEGER NOT NULL CHECK (upto > 0),
    -- Which change of the form is the n-th in the log; none where they have one order.
    places   BLOB
) STRICT;

-- The bytes of saved forms in pieces that fill pages: the n-th piece of a form is at upto * 4096 + n.
CREATE TABLE piece (
    place INTEGER PRIMARY KEY CHECK (place >= 4096),
    bytes BLOB NOT NULL
) STRICT;

CREATE TABLE run (
    first      INTEGER PRIMARY KEY CHECK (first > 0),
    count      INTEGER NOT NULL CHECK (count > 0),
    form       INTEGER NOT NULL REFERENCES saved (id),
    from_peer  INTEGER REFERENCES peer (id),
    from_again INTEGER
) STRICT;

CREATE INDEX run_of_form ON run (form);

-- Who gave a change decides who gets it, and no hash covers that: it is kept twice, once negated.
ALTER TABLE change ADD COLUMN from_again INTEGER;
UPDATE change SET from_again = -from_peer;

-- Worked out from documents and thrown away without loss. Each digest covers what it was worked
-- out from and what is said, so that neither a stale nor a damaged line is ever shown.
CREATE TABLE summary (
    document BLOB PRIMARY KEY CHECK (length(document) = 16),
    said     TEXT NOT NULL,
    digest   BLOB NOT NULL CHECK (length(digest) = 32)
) STRICT, WITHOUT ROWID;

-- SHA-256 of a table's rows, for the tables whose rows no change hash covers.
CREATE TABLE seal (
    name   TEXT PRIMARY KEY,
    digest BLOB NOT NULL CHECK (length(digest) = 32)
) STRICT, WITHOUT ROWID;
