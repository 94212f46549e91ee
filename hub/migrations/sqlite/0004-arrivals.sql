-- Pieces of peers' logs, kept as they came and acknowledged: each is put in its place before
-- anything of it is shown or passed on, and its row goes with that. The body stands last, so that
-- the other columns are read without it. No peer stands where the body is not what came any more.

CREATE TABLE arrival (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    peer   INTEGER REFERENCES peer (id),
    at_ms  INTEGER NOT NULL,
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    body   BLOB NOT NULL
) STRICT;
