//! Brings a ledger of any older version to the newest, one numbered step at a time.

use rusqlite::{Connection, Transaction};

/// The steps, in order; step `n` (from 1) brings `user_version` from `n - 1` to `n`. A step that has been
/// released is never edited: what it made is out there.
const STEPS: [&str; 4] = [
    include_str!("migrations/1-photographs.sql"),
    include_str!("migrations/2-corrections.sql"),
    include_str!("migrations/3-register.sql"),
    include_str!("migrations/4-views.sql"),
];

/// The newest ledger version, as `user_version` says it.
pub const NEWEST: i32 = STEPS.len() as i32;

/// Runs the steps after version `from` up to version `to` inside `tx`.
pub(super) fn run(tx: &Transaction<'_>, from: i32, to: i32) -> rusqlite::Result<()> {
    for (step, sql) in (1..).zip(STEPS) {
        if step > from && step <= to {
            tx.execute_batch(sql)?;
            forbid_changes(tx)?;
            tx.pragma_update(None, "user_version", step)?;
        }
    }
    Ok(())
}

/// Gives every table the triggers that refuse to change or remove a row.
fn forbid_changes(conn: &Connection) -> rusqlite::Result<()> {
    for table in tables(conn)? {
        for change in ["UPDATE", "DELETE"] {
            conn.execute_batch(&format!(
                "CREATE TRIGGER IF NOT EXISTS {table}_no_{change} BEFORE {change} ON {table}\n\
                 BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;"
            ))?;
        }
    }
    Ok(())
}

/// Names of the ledger's own tables, sorted.
pub(super) fn tables(conn: &Connection) -> rusqlite::Result<Vec<String>> {
    conn.prepare(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name",
    )?
    .query_map([], |row| row.get(0))?
    .collect()
}

/// The schema a ledger of the newest version must have: type and name to SQL.
pub(super) fn schema(conn: &Connection) -> rusqlite::Result<Vec<(String, String, String)>> {
    conn.prepare(
        "SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY type, name",
    )?
    .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
    .collect()
}
