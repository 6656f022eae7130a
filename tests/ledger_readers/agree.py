"""DuckDB reads the ledger itself and finds what `season export` wrote: no row more, none less, none different.

Arguments: the ledger, the folder of the export, and a file of SQL that runs over the ledger attached as s26 and s25.
"""

import pathlib
import sys

import duckdb
import duckdb_extension_sqlite_scanner as scanner

ledger, export, query = sys.argv[1:]
# The extension comes as a package of its own, so that nothing is fetched while the test runs.
extension = next(pathlib.Path(scanner.__file__).parent.glob("extensions/*/sqlite_scanner.duckdb_extension"))
db = duckdb.connect(config={"allow_unsigned_extensions": "true"})
db.execute(f"LOAD '{extension}'")
for name in ("s26", "s25"):
    db.execute(f"ATTACH '{ledger}' AS {name} (TYPE sqlite, READ_ONLY)")

compared = 0
for table, view in [("fish", "current_fish"), ("photos", "current_photo"), ("tanks", "current_tank"), ("events", "current_event")]:
    columns = [row[0] for row in db.execute(f"DESCRIBE s26.{view}").fetchall()]
    types = {row[0]: row[1] for row in db.execute(f"DESCRIBE s26.{view}").fetchall()}
    read = ", ".join(f"'{c}': '{types[c]}'" for c in columns)
    csv = f"read_csv('{export}/{table}.csv', header=true, nullstr='', columns={{{read}}})"
    # An empty text and no text are one in CSV.
    ours = ", ".join(f"nullif(CAST({c} AS VARCHAR), '') AS {c}" if types[c] == "VARCHAR" else c for c in columns)
    for left, right in [(f"s26.{view}", csv), (csv, f"s26.{view}")]:
        odd = db.execute(f"(SELECT {ours} FROM {left}) EXCEPT ALL (SELECT {ours} FROM {right})").fetchall()
        assert not odd, f"{view}: {len(odd)} rows of {left} are not in {right}, such as {odd[0]}"
    rows = db.execute(f"SELECT count(*) FROM s26.{view}").fetchone()[0]
    assert rows, f"{view} is empty"
    compared += rows

for row in db.execute(pathlib.Path(query).read_text()).fetchall():
    print(*row, sep=",")
print(f"{compared} rows agree", file=sys.stderr)
