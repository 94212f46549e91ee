-- Stretches of the log, packed together as they are sent: worked out from the changes and thrown
-- away without loss. Nobody is given one of which it gave a change itself; givers are rows of
-- peer, and 0 for this node, 8 bytes each. The digest covers all the rest, so that neither a damaged nor a misplaced one
-- is ever sent.

CREATE TABLE stretch (
    first  INTEGER PRIMARY KEY CHECK (first > 0),
    last   INTEGER NOT NULL CHECK (last >= first),
    givers BLOB NOT NULL CHECK (length(givers) % 8 = 0),
    digest BLOB NOT NULL CHECK (length(digest) = 32),
    packed BLOB NOT NULL
) STRICT;
