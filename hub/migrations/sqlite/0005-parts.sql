-- Devices that keep a part: the papers, and the visits to some sites. A part is the ids of its
-- sites one behind the other, in order; none stands for everything.

-- How much of this log the peer stores up to what it acknowledged.
ALTER TABLE peer ADD COLUMN holds BLOB CHECK (length(holds) % 16 = 0);

-- How much of the peer's log is stored here up to what was seen of it, and, where the log is read
-- again to make up for a part, up to where how much of it was stored before.
ALTER TABLE peer ADD COLUMN asked BLOB CHECK (length(asked) % 16 = 0);
ALTER TABLE peer ADD COLUMN known_position INTEGER CHECK (known_position > 0);
ALTER TABLE peer ADD COLUMN known_hash BLOB CHECK (length(known_hash) = 32);
ALTER TABLE peer ADD COLUMN known BLOB CHECK (length(known) % 16 = 0);
