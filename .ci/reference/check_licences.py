#!/usr/bin/env python3
"""The licences of all crates that the program is built of, held against those that are allowed.

check_licences.py ROOT [LIST]   LIST gets one crate a line: name, version, licence, where from.
"""

import json
import re
import subprocess
import sys
from pathlib import Path

ALLOWED = {"Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "MIT", "Unicode-3.0", "Zlib"}
# Files of others that the program carries: name, licence, where its words stand, and how they begin.
VENDORED = {
    "htmx.min.js": ("htmx", "0BSD", "htmx-LICENSE", "Zero-Clause BSD"),
    "qr": ("qr 0.7.0 (decoder)", "MIT", "qr/LICENSE-MIT", "The MIT License (MIT)"),
}
SOURCE = "registry+https://github.com/rust-lang/crates.io-index"


def allowed(expression):
    """An SPDX expression; a slash is an old way to write OR."""
    words = re.findall(r"[()]|[^\s()/]+|/", expression)
    python = []
    skip = False
    for word in words:
        if skip:
            skip = False
        elif word == "WITH":
            skip = True
        elif word in ("(", ")"):
            python.append(word)
        elif word in ("OR", "/", "AND"):
            python.append("and" if word == "AND" else "or")
        else:
            python.append(str(word in ALLOWED))
    return eval(" ".join(python))


def main():
    root = Path(sys.argv[1])
    asked = ["cargo", "metadata", "--locked", "--format-version", "1", "--manifest-path", str(root / "Cargo.toml")]
    whole = json.loads(subprocess.run(asked, check=True, capture_output=True, text=True).stdout)
    packages = {p["id"]: p for p in whole["packages"]}
    # What is built in: not what only tests need.
    nodes = {n["id"]: n for n in whole["resolve"]["nodes"]}
    reached, waiting = set(), [whole["resolve"]["root"]]
    while waiting:
        one = waiting.pop()
        if one in reached:
            continue
        reached.add(one)
        for dep in nodes[one]["deps"]:
            if any(kind["kind"] in (None, "build") for kind in dep["dep_kinds"]):
                waiting.append(dep["pkg"])
    rows, wrong = [], []
    for package in sorted((packages[i] for i in reached), key=lambda p: (p["name"], p["version"])):
        licence = package["license"] or "none"
        rows.append(f"{package['name']} {package['version']}\t{licence}\t{package['repository'] or ''}")
        if package["license"] is None or not allowed(licence):
            wrong.append(f"{package['name']} {package['version']}: {licence}")
        if package["source"] not in (None, SOURCE):
            wrong.append(f"{package['name']} comes from {package['source']}")
    assets = root / "assets" / "bench"
    for file, (name, licence, words, begins) in VENDORED.items():
        rows.append(f"{name}\t{licence}\tassets/bench/{file}")
        if not (assets / file).exists() or not (assets / words).read_text().startswith(begins):
            wrong.append(f"{name}: its licence is not beside it")
    if len(sys.argv) > 2:
        Path(sys.argv[2]).write_text("\n".join(rows) + "\n")
    print(f"{len(rows)} crates and files of others built in")
    print("\n".join(wrong) or "all under licences that are allowed")
    sys.exit(bool(wrong))


main()
