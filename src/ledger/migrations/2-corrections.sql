-- What people said about single fish. A correction keeps the place and shape of its fish, so that it
-- finds the fish again in every other layer of the photograph.
CREATE TABLE correction (
    correction_id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    photo_id INTEGER NOT NULL REFERENCES photograph,
    layer_id INTEGER NOT NULL REFERENCES layer,   -- what the person was looking at
    fish INTEGER,                                 -- its number there; NULL for a fish the model missed
    kind TEXT NOT NULL CHECK (kind IN ('call', 'length', 'not_a_fish', 'missed', 'withdraw')),
    call TEXT CHECK (call IN ('inflated', 'not_inflated', 'unsure')),
    length_px REAL,                               -- the person's total length
    withdraws TEXT REFERENCES correction (uid),   -- the earlier correction that no longer holds
    snout_x_px REAL NOT NULL,
    snout_y_px REAL NOT NULL,
    x_px REAL NOT NULL,
    y_px REAL NOT NULL,
    tail_x_px REAL NOT NULL,
    tail_y_px REAL NOT NULL,
    total_length_px REAL NOT NULL,
    note TEXT NOT NULL,
    action_id INTEGER NOT NULL REFERENCES action,
    CHECK (kind <> 'missed' OR fish IS NULL),
    CHECK ((kind = 'withdraw') = (withdraws IS NOT NULL)),
    CHECK (kind NOT IN ('call', 'missed') OR call IS NOT NULL),
    CHECK ((kind = 'length') = (length_px IS NOT NULL))
) STRICT;
CREATE INDEX correction_by_photo ON correction (photo_id, correction_id);
CREATE INDEX correction_withdrawn ON correction (withdraws) WHERE withdraws IS NOT NULL;

-- Which fish of a layer a correction belongs to: matched by place and shape when either was written.
CREATE TABLE carried (
    layer_id INTEGER NOT NULL REFERENCES layer,
    correction_id INTEGER NOT NULL REFERENCES correction,
    fish INTEGER NOT NULL,
    distance REAL NOT NULL,                       -- in total lengths, 0 is the same place
    PRIMARY KEY (layer_id, correction_id),
    FOREIGN KEY (layer_id, fish) REFERENCES fish (layer_id, fish)
) STRICT, WITHOUT ROWID;
CREATE INDEX carried_by_fish ON carried (layer_id, fish);
