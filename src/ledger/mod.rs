//! The season in one SQLite file: append-only events, migrations.
