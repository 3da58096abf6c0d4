#!/usr/bin/env python3
"""Holds the SVG cut sheets of a plan folder against its plan.json, sharing no code with the crate.

    check_sheets.py PLAN_FOLDER

Every placed outline must be drawn once on each bench segment it touches, at true size and the right way up (SVG's y runs
down), within 2 micrometres; page size in mm must equal the view box; the scale bar must be 100 mm; every number must be there.
Needs the standard library only. Exit status 1 and a line for each fault if something is wrong.
"""

import json
import pathlib
import sys
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
NEAR = 0.002


def rings(data):
    """Rings of path data made of M, L and Z only."""
    out = []
    for part in data.replace("Z", "").split("M")[1:]:
        out.append([tuple(float(v) for v in pair.split()) for pair in part.split("L")])
    return out


def box(points):
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def same(a, b):
    return len(a) == len(b) and all(abs(p[0] - q[0]) < NEAR and abs(p[1] - q[1]) < NEAR for p, q in zip(a, b))


def check(folder):
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    numbers = {p["piece"]: p["number"] for p in plan["pieces"]}
    files = sorted((folder / "sheets").glob("*.svg"))
    faults, used = [], 0
    for index, stock in enumerate(plan["stocks"]):
        left, low, right, high = box(stock["outline"])
        segments = stock["segments"] if len(stock["segments"]) > 1 else [[left, right]]
        for segment, (start, end) in enumerate(segments):
            tail = f"-segment-{segment + 1}.svg" if len(segments) > 1 else ".svg"
            names = [f for f in files if f.name.startswith(f"{index + 1:02}-") and f.name.endswith(tail)]
            if len(names) != 1:
                faults.append(f"stock {stock['id']} segment {segment + 1}: {len(names)} sheets instead of one")
                continue
            used += 1
            faults += [f"{names[0].name}: {f}" for f in check_sheet(names[0], stock, numbers, start, end, low, high, len(segments))]
    if used != len(files):
        faults.append(f"{len(files) - used} sheets belong to no stock")
    return faults


def check_sheet(path, stock, numbers, start, end, low, high, segments):
    faults = []
    root = ElementTree.parse(path).getroot()
    view = [float(v) for v in root.get("viewBox").split()]
    if [root.get("width"), root.get("height")] != [f"{v:g}mm" if v == int(v) else f"{v}mm" for v in view[2:]]:
        faults.append(f"page {root.get('width')} x {root.get('height')} is not its view box {view}")
    paths = {p.get("id"): rings(p.get("d")) for p in root.iter(f"{SVG}path") if p.get("id")}
    words = [t.text for t in root.iter(f"{SVG}text")]
    x0, y0, x1, y1 = box([p for ring in paths["bar-100-mm"] for p in ring])
    if abs(x1 - x0 - 100) > NEAR:
        faults.append(f"the 100 mm bar is {x1 - x0} mm long")
    cloth = box(paths["cloth"][0])
    if abs(cloth[2] - cloth[0] - (end - start)) > NEAR or abs(cloth[3] - cloth[1] - (high - low)) > NEAR:
        faults.append(f"the cloth is drawn {cloth[2] - cloth[0]} x {cloth[3] - cloth[1]} mm")

    def to_sheet(ring):
        return [(cloth[0] + x - start, cloth[3] - (y - low)) for x, y in ring]

    drawn = [r for name, r in paths.items() if name.startswith("cut-")]
    expected = 0
    for placed in stock["placed"]:
        b = box(placed["outline"])
        if segments > 1 and (b[2] <= start or b[0] >= end):
            continue
        expected += 1
        wanted = [to_sheet(r) for r in [placed["outline"], *placed["holes"]]]
        found = [d for d in drawn if len(d) == len(wanted) and all(same(p, q) for p, q in zip(d, wanted))]
        name = f"{placed['piece']} copy {placed['copy']}"
        if len(found) != 1:
            faults.append(f"{name} is drawn {len(found)} times where it lies")
        if numbers[placed["piece"]] not in words:
            faults.append(f"{name}: its number is not on the sheet")
    if expected != len(drawn):
        faults.append(f"{len(drawn)} cut lines for {expected} pieces")
    return faults


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    faults = check(pathlib.Path(sys.argv[1]))
    for fault in faults:
        print(fault)
    print(f"{len(faults)} faults in the cut sheets")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
