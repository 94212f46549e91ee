-- Whose each change is: a device's seal on its newest change in a document, one for each of its
-- actors. It covers what that change builds on. Nothing else guards these rows: a signature does.

CREATE TABLE author_seal (
    document  BLOB NOT NULL CHECK (length(document) = 16),
    actor     BLOB NOT NULL,
    key       BLOB NOT NULL CHECK (length(key) = 32),
    sequence  INTEGER NOT NULL CHECK (sequence > 0),
    hash      BLOB NOT NULL CHECK (length(hash) = 32),
    signature BLOB NOT NULL CHECK (length(signature) = 64),
    PRIMARY KEY (document, actor, key)
) STRICT, WITHOUT ROWID;

-- What is set aside may find its place later: a seal, a cause or a word of the roster is missing.
ALTER TABLE set_aside ADD COLUMN waits INTEGER NOT NULL DEFAULT 0;
ALTER TABLE set_aside ADD COLUMN key BLOB CHECK (length(key) = 32);
ALTER TABLE set_aside ADD COLUMN signature BLOB CHECK (length(signature) = 64);

-- A peer's signed word that it stores this log up to what it acknowledged.
ALTER TABLE peer ADD COLUMN receipt_key BLOB CHECK (length(receipt_key) = 32);
ALTER TABLE peer ADD COLUMN receipt BLOB CHECK (length(receipt) = 64);

-- What was stored before has no seals yet; the device sets its own when it starts.
INSERT INTO setting (key, value) VALUES ('seals', 'wanted');
