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
