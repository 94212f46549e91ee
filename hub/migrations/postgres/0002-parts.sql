-- Devices that keep a part: the papers, and the visits to some sites. A part is the ids of its
-- sites one behind the other, in order; none stands for everything.

SET LOCAL search_path = guyline;

ALTER TABLE peer
    -- How much of this log the peer stores up to what it acknowledged.
    ADD COLUMN holds          bytea CHECK (length(holds) % 16 = 0),
    -- How much of the peer's log is stored here up to what was seen of it, and, where the log is
    -- read again to make up for a part, up to where how much of it was stored before.
    ADD COLUMN asked          bytea CHECK (length(asked) % 16 = 0),
    ADD COLUMN known_position bigint CHECK (known_position > 0),
    ADD COLUMN known_hash     bytea CHECK (length(known_hash) = 32),
    ADD COLUMN known          bytea CHECK (length(known) % 16 = 0);
