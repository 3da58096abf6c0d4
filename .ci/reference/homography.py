#!/usr/bin/env python3
"""Homographies from four points in exact fractions, and where they take others: JSON for a test of the crate.

The eight unknowns of x' = (ax+by+c)/(gx+hy+1), y' = (dx+ey+f)/(gx+hy+1) solve a linear system of eight equations
(Hartley and Zisserman, Multiple View Geometry, 2nd edition, section 4.1); no floating point is used until it is written."""
import json
from fractions import Fraction as F

CASES = [
    ([(0, 0), (1600, 0), (1600, 900), (0, 900)], [(102, 1011), (1799, 1043), (1711, 66), (188, 31)]),
    ([(0, 0), (1, 0), (1, 1), (0, 1)], [(0, 0), (4, 0), (3, 2), (1, 2)]),
    ([(-250, 40), (310, -15), (275, 420), (-190, 365)], [(1640, 900), (240, 860), (377, 133), (1520, 201)]),
]
TRIED = [(F(1, 2), F(1, 3)), (F(1, 7), F(9, 10)), (F(0), F(0)), (F(5, 4), F(-1, 5))]


def solve(rows):
    n = len(rows)
    for i in range(n):
        pivot = next(k for k in range(i, n) if rows[k][i] != 0)
        rows[i], rows[pivot] = rows[pivot], rows[i]
        rows[i] = [v / rows[i][i] for v in rows[i]]
        for k in range(n):
            if k != i:
                rows[k] = [a - rows[k][i] * b for a, b in zip(rows[k], rows[i])]
    return [r[-1] for r in rows]


def homography(source, target):
    rows = []
    for (x, y), (u, v) in zip(source, target):
        x, y, u, v = map(F, (x, y, u, v))
        rows.append([x, y, F(1), F(0), F(0), F(0), -u * x, -u * y, u])
        rows.append([F(0), F(0), F(0), x, y, F(1), -v * x, -v * y, v])
    return solve(rows) + [F(1)]


out = []
for source, target in CASES:
    h = homography(source, target)
    (x0, y0), (x1, y1) = source[0], source[2]
    taken = []
    for s, t in TRIED:
        x, y = x0 + s * (x1 - x0), y0 + t * (y1 - y0)
        w = h[6] * x + h[7] * y + h[8]
        taken.append([float(x), float(y), float((h[0] * x + h[1] * y + h[2]) / w), float((h[3] * x + h[4] * y + h[5]) / w)])
    out.append({"from": source, "to": target, "taken": taken})
print(json.dumps(out))
