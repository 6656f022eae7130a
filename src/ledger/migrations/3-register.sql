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
