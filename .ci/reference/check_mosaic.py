"""Checks the mosaics of a plan from plan.json alone, with shapely and nothing of the crate's.

    python check_mosaic.py PLAN.json…

Patches are moved back into the part frame by the words of the plan's schema: less the piece's origin, turned by its angle. Checked: the
target is covered and nothing reaches beyond it; nowhere more than three patches; where the edge of a patch shows, the cloth within a
lap of it lies on later patches; patches whose seam shows differ in direction; seams are at least two laps long; every patch placed
lies inside its stock, off the other pieces.
"""

import itertools
import json
import math
import sys

from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union


def polygon(outline, holes=()):
    return Polygon(outline, holes)


def in_part_frame(piece):
    shape = polygon(piece["outline"], piece["holes"])
    shape = affinity.translate(shape, -piece["origin"][0], -piece["origin"][1])
    return affinity.rotate(shape, piece["angle"], origin=(0, 0))


def apart(a, b, modulo):
    d = (a - b) % modulo
    return min(d, modulo - d)


def check(plan):
    wrong = []
    pieces = {p["piece"]: p for p in plan["pieces"]}
    for m in plan.get("mosaics", []):
        order = m["patches"] if m["earlier_on_top"] else m["patches"][::-1]
        angle = [pieces[i]["angle"] for i in order]
        shapes = [in_part_frame(pieces[i]) for i in order]
        target = polygon(m["target"], m["holes"])
        name = m["ply"]
        bare = target.difference(unary_union([s.buffer(0.002, join_style=2) for s in shapes])).area
        if bare > 0.5:
            wrong.append(f"{name}: {bare:.2f} mm² bare")
        beyond = unary_union(shapes).difference(target.buffer(0.01, join_style=2)).area
        if beyond > 0.5:
            wrong.append(f"{name}: {beyond:.2f} mm² beyond the target")
        near = {i: [j for j in range(len(shapes)) if j != i and shapes[i].intersects(shapes[j])] for i in range(len(shapes))}
        for i in range(len(shapes)):
            later = [j for j in near[i] if j > i]
            for j, k, l in itertools.combinations(later, 3):
                four = shapes[i].intersection(shapes[j]).intersection(shapes[k]).intersection(shapes[l]).area
                if four > 0.05:
                    wrong.append(f"{name}: {four:.2f} mm² four thick at {order[i]}")
        seen = []
        for i, s in enumerate(shapes):
            over = [shapes[j] for j in near[i] if j < i]
            seen.append(s.difference(unary_union(over)) if over else s)
        for i, s in enumerate(shapes):
            others = unary_union([shapes[j] for j in near[i]])
            over = unary_union([shapes[j] for j in near[i] if j < i])
            ring = list(s.exterior.coords)
            for a, b in zip(ring, ring[1:]):
                edge = LineString([a, b])
                middle = edge.interpolate(0.5, normalized=True)
                if edge.length < 0.05 or target.boundary.distance(middle) < 0.01:
                    continue
                shows = edge.difference(over)
                strips = [g.buffer(m["lap"] - 0.03, cap_style=2) for g in getattr(shows, "geoms", [shows]) if g.length > 0.05]
                short = unary_union(strips).intersection(s.buffer(-0.01, join_style=2)).difference(others).area
                if short > 0.1:
                    wrong.append(f"{name}: {order[i]} has {short:.2f} mm² of lap too little at {middle}")
            for j in [j for j in near[i] if j > i]:
                seam = seen[i].buffer(0.02).intersection(seen[j].buffer(0.02)).area / 0.04
                if seam < 0.5:
                    continue
                if seam < 2 * m["lap"] - 0.5:
                    wrong.append(f"{name}: the seam of {order[i]} and {order[j]} is {seam:.1f} mm")
                if apart(angle[i], angle[j], m["modulo"]) < m["least_difference"] - 1e-6:
                    wrong.append(f"{name}: {order[i]} and {order[j]} differ by {apart(angle[i], angle[j], m['modulo']):.2f}")
        # Directions from the plan's angles: the resultant it states.
        t = [2 * math.pi * a / m["modulo"] for a in angle]
        resultant = math.hypot(sum(map(math.cos, t)), sum(map(math.sin, t))) / len(t)
        if abs(resultant - m["resultant"]) > 0.002:
            wrong.append(f"{name}: resultant {resultant:.3f}, stated {m['resultant']}")
        patches, opened = 0.0, 0.0
        for stock in plan["stocks"]:
            mine = [p for p in stock["placed"] if p["piece"] in order]
            if mine and stock["kind"] == "offcut":
                opened += polygon(stock["outline"], stock["holes"]).area
                patches += sum(polygon(p["outline"], p["holes"]).area for p in mine)
        if opened:
            print(f"{name}: {len(order)} patches, {100 * patches / opened:.1f} % of the offcuts opened, resultant {resultant:.3f}, drift {m['drift']}")
    for stock in plan["stocks"]:
        cloth = polygon(stock["outline"], stock["holes"])
        placed = [polygon(p["outline"], p["holes"]) for p in stock["placed"]]
        for p, s in zip(stock["placed"], placed):
            if s.difference(cloth.buffer(0.003)).area > 0.01:
                wrong.append(f"{p['piece']} leaves stock {stock['id']}")
        for a, b in itertools.combinations(placed, 2):
            if a.distance(b) < plan["rules"]["gap"] - 0.005:
                wrong.append(f"pieces on {stock['id']} nearer than the gap")
    return wrong


def main():
    bad = 0
    for path in sys.argv[1:]:
        with open(path) as f:
            for line in check(json.load(f)):
                bad += 1
                print(f"{path}: {line}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
