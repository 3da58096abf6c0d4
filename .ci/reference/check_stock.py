"""The ledger read by others: its file by Python's sqlite3, its export as plain JSON, its labels by poppler.

Usage: check_stock.py WARPWISE STOCK_JSON WORK_FOLDER
"""

import json
import math
import pathlib
import re
import sqlite3
import subprocess
import sys


def run(*words):
    return subprocess.run([str(w) for w in words], check=True, capture_output=True, text=True).stdout


def area(ring):
    return 0.5 * sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, ring[1:] + ring[:1]))


def main():
    warpwise, given, work = sys.argv[1], pathlib.Path(sys.argv[2]), pathlib.Path(sys.argv[3])
    work.mkdir(parents=True, exist_ok=True)
    ledger, moved = work / "stock.sqlite", work / "moved.sqlite"
    run(warpwise, "stock", "--ledger", ledger, "import", given)
    run(warpwise, "stock", "--ledger", ledger, "out", "roll-1")
    run(warpwise, "stock", "--ledger", ledger, "add", "offcut", "--cloth", "twill-204", "--length", "12 cm", "--width", "90")

    db = sqlite3.connect(f"file:{ledger}?mode=ro", uri=True)
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    listed = json.loads(run(warpwise, "stock", "--ledger", ledger, "list", "--json"))
    offcuts = json.loads(given.read_text(encoding="utf-8"))["offcuts"]
    want = {o["id"]: area(o["outline"]) - sum(abs(area(h)) for h in o.get("holes", [])) for o in offcuts}
    rows = dict(db.execute("SELECT id, area FROM record WHERE kind = 'offcut'").fetchall())
    new = set(rows) - set(want)
    assert len(new) == 1 and rows[next(iter(new))] == 120 * 90, new
    for name, size in want.items():
        assert math.isclose(rows[name], size, abs_tol=1.0), (name, rows[name], size)
    text = json.dumps(listed)
    assert all(f'"{name}"' in text for name in rows), "the list lacks some"

    export = work / "export.json"
    run(warpwise, "stock", "--ledger", ledger, "export", export)
    said = run(warpwise, "stock", "--ledger", moved, "import", export)
    assert "history" in said, said
    tables = []
    for file in (ledger, moved):
        one = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
        tables.append({t: one.execute(f"SELECT * FROM {t} ORDER BY 1, 2").fetchall() for t in ("about", "record", "entry", "change")})
        # A seal goes over the one before it, and the moved ledger had another past.
        tables[-1]["about"] = [row for row in tables[-1]["about"] if not row[0].startswith("seal")]
    assert tables[0] == tables[1], "the moved ledger is another one"

    run(warpwise, "stock", "--ledger", ledger, "labels", "--out", work / "labels.html")
    pdf = work / "labels.pdf"
    pages = int(re.search(r"Pages:\s+(\d+)", run("pdfinfo", pdf)).group(1))
    assert pages == math.ceil(len(rows) / 14), (pages, len(rows))
    words = run("pdftotext", "-layout", pdf, "-")
    for name in rows:
        assert re.search(rf"{name}\b", words), f"no label of {name}"
    assert "T204-31" in words and "twill-416" in words
    print(f"stock: {len(rows)} offcuts, {len(tables[0]['entry'])} entries, {pages} pages of labels agree")


main()
