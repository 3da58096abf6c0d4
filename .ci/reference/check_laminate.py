#!/usr/bin/env python3
"""Holds the laminate figures of `warpwise layup --json` against classical lamination theory by a library of others (3pc-laminate).

    check_laminate.py WARPWISE FOLDER

Makes a job of stacks in FOLDER, plans it, and for each stack:
- expands the laminate code again and compares it with the layers that went in;
- thickness and mass of an area are those of the library's laminate, its plies made by the rule of mixtures written out here;
- "symmetric" is said where and only where the library's coupling matrix B vanishes;
- "not balanced" where and only where its A16 and A26 do not vanish.
Exit status 1 if anything differs.
"""

import json
import pathlib
import re
import subprocess
import sys

import numpy as np
from laminate.laminate import Laminate
from material.orthotropic import Orthotropic
from ply.ply import Ply

# id: weave, areal mass g/m2, resin content, fibre and resin density g/cm3
CLOTHS = {
    "ud": ("unidirectional", 150.0, 0.35, 1.79, 1.25),
    "twill": ("twill 2/2", 204.0, 0.42, 1.78, 1.22),
}
STACKS = {
    "quasi": [("ud", a) for a in (0, 45, -45, 90, 90, -45, 45, 0)],
    "odd": [("ud", a) for a in (0, 45, 0)],
    "spiral": [("ud", a) for a in (0, 45, 90)],
    "pair": [("ud", a) for a in (45, -45)],
    "sets": [("ud", a) for a in (0, 90, 0, 90)],
    "double": [("ud", a) for a in (0, 0, 45)],
    "fabric": [("twill", a) for a in (45, 0, 45)],
    "leaning": [("twill", a) for a in (30, 30)],
    "mirrored": [("twill", a) for a in (30, 60)],
    "mixed": [("twill", 45), ("ud", 0), ("ud", 0), ("twill", 45)],
    "lopsided": [("twill", 0), ("ud", 0)],
}


def job():
    out = ['[job]\nname = "stacks"\n\n[cutting]\ngap = 5\n']
    for name, (weave, mass, resin, fibre, matrix) in CLOTHS.items():
        line = "twill_line = 45\n" if "twill" in weave else ""
        out.append(
            f'[[cloth]]\nid = "{name}"\nweave = "{weave}"\n{line}up = "paper"\nroll_width = 1000\nselvedge = 0\nareal_mass = {mass}\n'
            f"resin_content = {resin}\nfibre_density = {fibre}\nresin_density = {matrix}\n"
        )
    out += [f'[[strip]]\nid = "{name}"\nlength = 120\nwidth = 60\n' for name in STACKS]
    for name, stack in STACKS.items():
        out += [f'[[layer]]\ncloth = "{cloth}"\nangle = {angle}\ntemplates = ["{name}"]\n' for cloth, angle in stack]
    return "\n".join(out)


def laminate_of(stack):
    plies = []
    for i, (cloth, angle) in enumerate(stack):
        weave, mass, resin, fibre, matrix = CLOTHS[cloth]
        thickness = mass / (1000 * fibre) + mass * resin / ((1 - resin) * 1000 * matrix)
        density = mass / (1 - resin) / thickness  # g/m2 per mm
        one_way = weave == "unidirectional"
        # Moduli only decide what vanishes: any values of the right symmetry do.
        material = Orthotropic(
            matID=cloth, E1=135e3 if one_way else 60e3, E2=10e3 if one_way else 60e3, G12=5e3, G13=5e3, G23=4e3,
            v12=0.3 if one_way else 0.05, rho=density,
        )
        plies.append(Ply(plyID=str(i), angle=angle, material=material, thickness=thickness))
    return Laminate(lamID="l", stacking_sequence=plies, offset="mid")


def expanded(code):
    """The plies (angle, letter) of a code without signs: [0x2/45f(A)/{90}]S."""
    body, kind = re.fullmatch(r"\[(.*)\]([ST])", code).groups()
    whole = re.fullmatch(r"\((.*)\)x(\d+)", body)
    words = whole.group(1).split("/") * int(whole.group(2)) if whole else body.split("/")
    plies, middle = [], None
    for word in words:
        odd = word.startswith("{")
        word = word.strip("{}")
        angle, _, letter, _, times = re.fullmatch(r"(-?[\d.]+)(f?)(?:\((\w)\))?(x(\d+))?", word).groups()
        ply = (float(angle), letter)
        if odd:
            middle = ply
        else:
            plies += [ply] * int(times or 1)
    if kind == "T":
        return plies
    return plies + ([middle] if middle else []) + plies[::-1]


def vanishes(values, scale):
    return np.max(np.abs(values)) < 1e-9 * scale


def main():
    program, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(job())
    subprocess.run([program, "nest", folder / "job.toml", "--effort", "1", "--quiet"], check=True, stdout=subprocess.DEVNULL)
    shown = subprocess.run([program, "layup", folder / "plan", "--json"], check=True, capture_output=True, text=True).stdout
    regions = {r["template"]: r for r in json.loads(shown)["laminate"]["regions"]}
    letters = {cloth: "AB"[i] for i, cloth in enumerate(CLOTHS)}
    wrong = 0
    for name, stack in STACKS.items():
        region, other = regions.pop(name), laminate_of(stack)
        remarks = " ".join(region["remarks"])
        A, B = np.asarray(other.A), np.asarray(other.B)
        checks = {
            "code": expanded(region["plain_code"]) == [(float(a), letters[c]) for c, a in stack],
            "thickness": abs(region["thickness"] - other.thickness) < 1e-9,
            "mass": abs(region["areal_mass"] - other.rho * other.thickness) < 1e-6,
            "symmetry": ("not symmetric" not in remarks) == bool(vanishes(B, np.max(A))),
            "balance": ("not balanced" not in remarks) == bool(vanishes([A[0][2], A[1][2]], np.max(A))),
        }
        for what in (what for what, holds in checks.items() if not holds):
            wrong += 1
            print(f"{name}: {what} differs: {region['plain_code']}, {remarks}", file=sys.stderr)
    if wrong or regions:
        raise SystemExit(f"check_laminate.py: {wrong} differences, unknown regions {sorted(regions)}")
    print(f"check_laminate.py: {len(STACKS)} stacks agree with lamination theory")


if __name__ == "__main__":
    main()
