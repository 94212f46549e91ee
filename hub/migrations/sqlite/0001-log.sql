-- The store of one node. Changes are only ever added; everything else is about them.
-- Hashes are those of the automerge change chunks beside them and are checked on every read.

CREATE TABLE peer (
    id                    INTEGER PRIMARY KEY,
    node                  BLOB NOT NULL UNIQUE CHECK (length(node) = 16),
    store                 BLOB NOT NULL CHECK (length(store) = 16),
    name                  TEXT NOT NULL,
    address               TEXT,
    seen_position         INTEGER NOT NULL DEFAULT 0 CHECK (seen_position >= 0),
    seen_hash             BLOB NOT NULL CHECK (length(seen_hash) = 32),
    acknowledged_position INTEGER NOT NULL DEFAULT 0 CHECK (acknowledged_position >= 0),
    acknowledged_hash     BLOB NOT NULL CHECK (length(acknowledged_hash) = 32),
    -- What it gave us above this position it still has; what it gave before, it may have lost.
    given_after           INTEGER NOT NULL CHECK (given_after >= 0),
    last_exchange_ms      INTEGER NOT NULL,
    last_failure          TEXT
) STRICT;

-- The same change under two documents is two rows: whoever copies a document under another id must
-- not keep the true one from being stored.
CREATE TABLE change (
    position  INTEGER PRIMARY KEY AUTOINCREMENT,
    document  BLOB NOT NULL CHECK (length(document) = 16),
    hash      BLOB NOT NULL CHECK (length(hash) = 32),
    bytes     BLOB NOT NULL,
    from_peer INTEGER REFERENCES peer (id),
    UNIQUE (document, hash)
) STRICT;

-- What each document's newest changes must be: a change that went missing shows here.
CREATE TABLE document (
    id    BLOB PRIMARY KEY CHECK (length(id) = 16),
    heads BLOB NOT NULL CHECK (length(heads) % 32 = 0)
) STRICT, WITHOUT ROWID;

-- Changes from elsewhere that are no part of a document, kept for somebody to look at.
CREATE TABLE set_aside (
    document  BLOB NOT NULL CHECK (length(document) = 16),
    hash      BLOB NOT NULL CHECK (length(hash) = 32),
    bytes     BLOB NOT NULL,
    reason    TEXT NOT NULL,
    at_ms     INTEGER NOT NULL,
    from_peer INTEGER NOT NULL REFERENCES peer (id),
    PRIMARY KEY (document, hash)
) STRICT;

CREATE TABLE setting (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
