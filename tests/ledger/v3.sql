PRAGMA application_id = 1718778215;
-- Photographs, what each model read in them, and who had it done when.
-- Nothing is ever changed or removed: every table is append-only (see the triggers below).
CREATE TABLE action (
    action_id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,                -- the same act has the same uid in every copy of the season
    at TEXT NOT NULL,                        -- RFC 3339, UTC
    who TEXT NOT NULL,                       -- initials
    kind TEXT NOT NULL CHECK (kind IN ('score', 'correct', 'place', 'register', 'merge')),
    software TEXT NOT NULL,                  -- version that wrote it
    detail TEXT NOT NULL                     -- options, file merged, ...
) STRICT;

CREATE TABLE photograph (
    photo_id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
    name TEXT NOT NULL,                      -- path below the folder given when it was first scored
    width_px INTEGER,
    height_px INTEGER,
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;

-- Which tank and date a photograph is a sample of; the newest row holds.
CREATE TABLE placement (
    placement_id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photograph,
    tank TEXT NOT NULL CHECK (tank <> ''),
    date TEXT NOT NULL CHECK (date GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;
CREATE INDEX placement_by_photo ON placement (photo_id, placement_id);

CREATE TABLE model (
    model_id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    sha256 TEXT NOT NULL,                    -- of the model file
    UNIQUE (name, sha256)
) STRICT;

-- One reading of one photograph by one model. The same reading again is not stored again.
CREATE TABLE layer (
    layer_id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photograph,
    model_id INTEGER NOT NULL REFERENCES model,
    content_sha256 TEXT NOT NULL CHECK (length(content_sha256) = 64),
    status TEXT NOT NULL CHECK (status IN ('scored', 'retake', 'refused')),
    reason TEXT NOT NULL,
    lighting TEXT CHECK (lighting IN ('transmitted', 'dark', 'pale')),
    mm_per_px REAL,
    mm_per_px_se REAL,
    scale_source TEXT,
    fish INTEGER NOT NULL,
    sharpness REAL,
    flags TEXT NOT NULL,
    seconds REAL,
    action_id INTEGER NOT NULL REFERENCES action,
    UNIQUE (photo_id, model_id, content_sha256)
) STRICT;

-- Which layer of a photograph counts; the newest row holds.
CREATE TABLE selection (
    selection_id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photograph,
    layer_id INTEGER NOT NULL REFERENCES layer,
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;
CREATE INDEX selection_by_photo ON selection (photo_id, selection_id);

CREATE TABLE fish (
    layer_id INTEGER NOT NULL REFERENCES layer,
    fish INTEGER NOT NULL,
    x_px REAL NOT NULL,
    y_px REAL NOT NULL,
    snout_x_px REAL NOT NULL,
    snout_y_px REAL NOT NULL,
    tail_x_px REAL NOT NULL,
    tail_y_px REAL NOT NULL,
    total_length_px REAL NOT NULL,
    total_length_mm REAL,
    total_length_se_mm REAL,
    depth_mm REAL,
    view TEXT NOT NULL CHECK (view IN ('side', 'top', 'oblique', 'unclear')),
    call TEXT NOT NULL CHECK (call IN ('inflated', 'not_inflated', 'unsure')),
    p_inflated REAL,
    bladder_position REAL,
    bladder_length_mm REAL,
    bladder_height_mm REAL,
    use_length TEXT NOT NULL CHECK (use_length IN ('yes', 'no')),
    use_call TEXT NOT NULL CHECK (use_call IN ('yes', 'no')),
    flags TEXT NOT NULL,
    vessel INTEGER,
    head_depth_mm REAL,
    PRIMARY KEY (layer_id, fish)
) STRICT, WITHOUT ROWID;
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
-- The register as people typed it: every version of its files, word for word, and their rows.
CREATE TABLE register_file (
    register_file_id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,                           -- tanks.csv, events.csv, ...
    sha256 TEXT NOT NULL,
    content BLOB NOT NULL,
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;
CREATE INDEX register_file_by_name ON register_file (name, register_file_id);

-- A row for each version of a tank's line; the newest holds. present = 0: the line was taken out.
CREATE TABLE tank (
    tank_row_id INTEGER PRIMARY KEY,
    tank TEXT NOT NULL,
    present INTEGER NOT NULL CHECK (present IN (0, 1)),
    species TEXT,
    volume_l REAL,
    hatch_date TEXT,
    stocked_date TEXT,
    stocked_number INTEGER,
    temperature_c REAL,
    screen_mm REAL,
    treatments TEXT NOT NULL,                     -- JSON object: column -> value
    notes TEXT NOT NULL,
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;
CREATE INDEX tank_by_name ON tank (tank, tank_row_id);

-- A husbandry event; a row more when its line is taken out (present = 0) or comes back (1).
CREATE TABLE event (
    event_row_id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL,                            -- the same event has the same uid in every copy
    present INTEGER NOT NULL CHECK (present IN (0, 1)),
    date TEXT NOT NULL,
    time TEXT,
    tank TEXT NOT NULL,                           -- a tank, or 'all'
    what TEXT NOT NULL,
    value TEXT NOT NULL,
    number REAL,
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    action_id INTEGER NOT NULL REFERENCES action
) STRICT;
CREATE INDEX event_by_uid ON event (uid, event_row_id);
INSERT INTO action VALUES (1, '6eb13042a4fd3924e7dca41e4ef2f2fc214e0af4a73b85f8171be0b2fe03119d', '2026-04-24T03:06:40Z', 'KB', 'score', '0.1.0', '');
INSERT INTO action VALUES (2, '6d91dece0eddda34ae8637513f7763a3104856463fc1892d2be2615b57faa9e8', '2026-04-24T03:06:41Z', 'MR', 'correct', '0.1.0', '');
INSERT INTO photograph VALUES (1, '0000000000000000000000000000000000000000000000000000000000000001', 'P07/2026-04-29/001.jpg', 2400, 1800, 1);
INSERT INTO photograph VALUES (2, '0000000000000000000000000000000000000000000000000000000000000002', 'P07/2026-04-29/002.jpg', 2400, 1800, 1);
INSERT INTO placement VALUES (1, 1, 'P07', '2026-04-29', 1);
INSERT INTO placement VALUES (2, 2, 'P07', '2026-04-29', 1);
INSERT INTO model VALUES (1, 'a', '0000000000000000000000000000000000000000000000000000000000000001');
INSERT INTO layer VALUES (1, 1, 1, '9bae060583764557caa68ed41d88f0224ff24858172738ddd0c6a4b64b809fa4', 'scored', '', 'transmitted', 0.033333333333333333, 0.0001, 'card', 12, 1.25, 'glare', NULL, 1);
INSERT INTO layer VALUES (2, 2, 1, '9bae060583764557caa68ed41d88f0224ff24858172738ddd0c6a4b64b809fa4', 'scored', '', 'transmitted', 0.033333333333333333, 0.0001, 'card', 12, 1.25, 'glare', NULL, 1);
INSERT INTO selection VALUES (1, 1, 1, 1);
INSERT INTO selection VALUES (2, 2, 2, 1);
INSERT INTO fish VALUES (1, 1, 400.0, 90.0, 290.0, 90.0, 510.0, 90.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 2, 400.0, 180.0, 290.0, 180.0, 510.0, 180.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 3, 400.0, 270.0, 290.0, 270.0, 510.0, 270.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 4, 400.0, 360.0, 290.0, 360.0, 510.0, 360.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 5, 400.0, 450.0, 290.0, 450.0, 510.0, 450.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 6, 400.0, 540.0, 290.0, 540.0, 510.0, 540.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 7, 400.0, 630.0, 290.0, 630.0, 510.0, 630.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 8, 400.0, 720.0, 290.0, 720.0, 510.0, 720.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 9, 400.0, 810.0, 290.0, 810.0, 510.0, 810.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 10, 400.0, 900.0, 290.0, 900.0, 510.0, 900.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 11, 400.0, 990.0, 290.0, 990.0, 510.0, 990.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (1, 12, 400.0, 1080.0, 290.0, 1080.0, 510.0, 1080.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 1, 400.0, 90.0, 290.0, 90.0, 510.0, 90.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 2, 400.0, 180.0, 290.0, 180.0, 510.0, 180.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 3, 400.0, 270.0, 290.0, 270.0, 510.0, 270.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 4, 400.0, 360.0, 290.0, 360.0, 510.0, 360.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 5, 400.0, 450.0, 290.0, 450.0, 510.0, 450.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 6, 400.0, 540.0, 290.0, 540.0, 510.0, 540.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 7, 400.0, 630.0, 290.0, 630.0, 510.0, 630.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 8, 400.0, 720.0, 290.0, 720.0, 510.0, 720.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 9, 400.0, 810.0, 290.0, 810.0, 510.0, 810.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 10, 400.0, 900.0, 290.0, 900.0, 510.0, 900.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 11, 400.0, 990.0, 290.0, 990.0, 510.0, 990.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO fish VALUES (2, 12, 400.0, 1080.0, 290.0, 1080.0, 510.0, 1080.0, 220.0, 7.333333333333333, 0.02, 1.1, 'side', 'not_inflated', 0.9, NULL, 0.6, NULL, 'yes', 'yes', '', 1, 0.8);
INSERT INTO correction VALUES (1, 'fa21880ecad25b3af8bcc5410182e905f145430b392c0d51853a88165a8a738e', 1, 1, 3, 'call', 'inflated', NULL, NULL, 290.0, 270.0, 400.0, 270.0, 510.0, 270.0, 220.0, 'rim', 2);
INSERT INTO carried VALUES (1, 1, 3, 0.0);
PRAGMA user_version = 3;
