#!/usr/bin/env python3
"""Holds the plies that `warpwise check` finds in a job against what the job's `expected.json` says.

    check_import.py WARPWISE JOB_DIR...

WARPWISE is the built program. Each JOB_DIR holds `job.toml` and `expected.json`, as make_drawings.py and make_inkscape.sh write
them. Exit status 1 if anything differs.
"""

import json
import subprocess
import sys
from pathlib import Path


def plies_of(program, directory):
    run = subprocess.run([program, "check", str(directory / "job.toml"), "--json"], capture_output=True, text=True, timeout=300)
    if run.returncode != 0:
        raise SystemExit(f"{directory}: check ended with status {run.returncode}\n{run.stdout}{run.stderr}")
    plies = {}
    for ply in json.loads(run.stdout)["plies"]:
        key = (ply["template"], round(ply["angle"] % 360, 6))
        if key in plies:
            raise SystemExit(f"{directory}: check lists the ply {key} twice")
        plies[key] = ply
    return plies


def differences(found, expected):
    """What is wrong with one ply, in words."""
    area = expected["area_tolerance_mm2"]
    size = expected["size_tolerance_mm"]
    if abs(found["net_area_mm2"] - expected["net_area_mm2"]) > area:
        yield f"net area {found['net_area_mm2']:.2f} mm², expected {expected['net_area_mm2']:.2f} within {area:.2f}"
    low, high = expected["area_mm2"]
    if not low - area <= found["area_mm2"] <= high + area:
        yield f"area {found['area_mm2']:.2f} mm², expected {low:.2f} to {high:.2f} within {area:.2f}"
    for axis, value, (low, high) in zip("xy", found["size_mm"], expected["size_mm"], strict=True):
        if not low - size <= value <= high + size:
            yield f"size along {axis} {value:.3f} mm, expected {low:.3f} to {high:.3f} within {size}"


def main():
    program, failed, compared = sys.argv[1], 0, 0
    for directory in map(Path, sys.argv[2:]):
        found = plies_of(program, directory)
        expected = json.loads((directory / "expected.json").read_text())["plies"]
        for ply in expected:
            key = (ply["template"], round(ply["angle"] % 360, 6))
            compared += 1
            wrong = list(differences(found.pop(key), ply)) if key in found else ["check does not list it"]
            for what in wrong:
                failed += 1
                print(f"{directory}: {ply['template']} at {ply['angle']}: {what}", file=sys.stderr)
        for key in found:
            failed += 1
            print(f"{directory}: check lists {key}, which the job does not ask for", file=sys.stderr)
    if failed:
        raise SystemExit(f"check_import.py: {failed} differences in {compared} plies")
    print(f"check_import.py: {compared} plies agree with the reference")


if __name__ == "__main__":
    if len(sys.argv) < 3:
        raise SystemExit(__doc__)
    main()
