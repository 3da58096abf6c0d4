#!/usr/bin/env python3
"""Plans jobs made at random and judges what comes of them, with a general geometry library (shapely).

    check_random.py WARPWISE FOLDER...

Every folder holds a job.toml and perhaps a stock.json. A job is planned, or refused with faults that name a reason and a remedy; a plan that
the program cannot make or does not pass itself (status 3) is wrong. What is planned is judged by check_plan.py, and every ply is worked out
again from its template: the cut line nowhere inside the net line, nowhere farther out than some edge's own allowance reaches without passing
through the ply, every edge with room for it given all of its allowance, windows smaller by theirs and inside the cut line.
"""

import json
import math
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

from check_plan import Judge, mirrored, turned

SLACK = 0.07  # mm, what a round join may lie outside its arc, and rounding
MITRE = 1.5  # allowances that a mitre may reach from its corner
GRID = 0.004  # mm, depth of rounding all along a boundary


def edges(ring, kinds, amounts, flipped):
    """(start, end, allowance) of every edge of a ring in the ply's frame, interior on the left."""
    n = len(ring)
    # Under a mirror the ring was turned round: its edge i is the drawing's edge n - 2 - i.
    kind = lambda i: kinds[(n - 2 - i) % n] if flipped else kinds[i]
    return [(ring[i], ring[(i + 1) % n], amounts[kind(i)]) for i in range(n)]


def parts(shape):
    return list(getattr(shape, "geoms", [shape]))


def from_root(shape, net, root):
    """What of a reach can be come to from its edge or corner without passing through the ply."""
    return [p for p in parts(shape.difference(net)) if p.area > 0 and p.distance(root) < 1e-3]


def strip(a, b, amount):
    along = (b[0] - a[0], b[1] - a[1])
    length = math.hypot(*along)
    out = (along[1] / length * amount, -along[0] / length * amount)
    return Polygon([a, (a[0] + out[0], a[1] + out[1]), (b[0] + out[0], b[1] + out[1]), b])


def turn(first, second):
    (a, b, _), (c, d, _) = first, second
    u, v = (b[0] - a[0], b[1] - a[1]), (d[0] - c[0], d[1] - c[1])
    return math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])


def reach(ring, net):
    """All that the edges of one ring may fill."""
    grown = []
    for i, (a, b, amount) in enumerate(ring):
        following = ring[(i + 1) % len(ring)]
        if amount > 0:
            grown += from_root(strip(a, b, amount + SLACK), net, LineString([a, b]))
        most, outward = max(amount, following[2]), turn(ring[i], following)
        # Beside an edge that does not grow nothing reaches round the corner, unless that corner is acute.
        if most > 0 and (min(amount, following[2]) > 0 < outward or outward > math.pi / 2):
            corner = Point(b)
            grown += from_root(corner.buffer(MITRE * most + SLACK, quad_segs=32), net, corner)
    return unary_union(grown).buffer(SLACK)


def short_of(ring, net, cut, everything):
    """Stretches that lack some of their allowance, though neither the ply nor an edge with another allowance is near."""
    for a, b, amount in ring:
        if amount <= 0:
            continue
        others = unary_union([LineString([c, d]) for c, d, o in everything if o != amount]).buffer(2.5 * amount)
        for stretch in parts(LineString([a, b]).difference(others)):
            if stretch.length < 1:
                continue
            whole = strip(*stretch.coords, amount - 0.01)
            lacking = whole.difference(cut).area
            if whole.intersection(net).area <= GRID and lacking > GRID * (stretch.length + 2 * amount):
                yield lacking, stretch.coords[0]


def judge_ply(plan, pieces):
    """What is wrong with the pieces of one ply."""
    first = pieces[0]
    layer = next(l for l in plan["layers"] if (l["job"], l["layer"]) == (first["job"], first["layer"]))
    template = next(t for t in plan["templates"] if (t["job"], t["template"]) == (first["job"], first["template"]))
    back = lambda ring, piece: [(x - piece["origin"][0], y - piece["origin"][1]) for x, y in ring]
    cut = unary_union([Polygon(back(p["outline"], p), [back(h, p) for h in p["holes"]]) for p in pieces])
    flipped = first["hand"] == "mirrored"
    amounts = {"trim": layer["trim"], "lap": layer["lap"], "butt": 0.0, "dart": 0.0}

    def put(ring):
        ring = turned(ring, -template["arrow"])
        return turned(mirrored(ring) if flipped else ring, -first["angle"])

    outer, holes, kinds = put(template["net"]), [put(h) for h in template["holes"]], template["edges"]
    lays = lambda l: l["job"] == first["job"] and any(i["template"] == first["template"] for i in l["items"])
    steps = sum(1 for l in plan["layers"] if l["layer"] < first["layer"] and lays(l))
    step = template["on"][1] * steps if template["on"] else 0.0
    if step > 0:
        # A patch, whose edges are all of one kind. Inward corners may be mitred, so that a little less is left than by a round buffer.
        within = Polygon(outer).buffer(-step, quad_segs=32)
        least = Polygon(outer).buffer(-MITRE * step - SLACK)
        net = unary_union([Polygon(back(r, p)) for p in pieces for r in p["net"]])
        if net.difference(within.buffer(SLACK)).area > GRID * net.length or least.difference(net).area > GRID * net.length:
            yield f"does not lie {step} mm inside its template's net line"
        if len(pieces) > 1:
            return
        outer, kinds = back(first["net"][0], first), [kinds[0]] * len(first["net"][0])
    net = Polygon(outer, holes)
    rounding = GRID * (net.length + 10)
    inside = net.difference(cut).area
    if inside > rounding:
        yield f"its cut line runs inside the net line: {inside:.3f} mm²"
    rings = [edges(outer, kinds, amounts, flipped and step == 0)]
    # A hole runs clockwise, so that the ply is on its left.
    for hole in holes:
        ring = hole if not Polygon(hole).exterior.is_ccw else hole[::-1]
        rings.append(edges(ring, ["trim"] * len(ring), amounts, False))
    allowed = unary_union([net.buffer(GRID), *(reach(ring, net) for ring in rings)])
    # Gaps of less than 100 mm² that the allowance leaves where it closes a slot are not cut.
    closed = [Polygon(g) for part in getattr(allowed, "geoms", [allowed]) for g in part.interiors]
    allowed = unary_union([allowed, *(g for g in closed if g.area < 100)])
    beyond = cut.difference(allowed).area
    if beyond > rounding:
        yield f"{beyond:.3f} mm² of cloth lie farther out than any edge's allowance reaches"
    everything = [edge for ring in rings for edge in ring]
    for lacking, at in (found for ring in rings for found in short_of(ring, net, cut, everything)):
        yield f"lacks {lacking:.3f} mm² of its allowance beside the edge from {at}"
    for hole in holes:
        window = Polygon(hole)
        void = window.difference(cut)
        if void.difference(window.buffer(-(amounts["trim"] - 0.02), quad_segs=32)).area > rounding:
            yield "cuts more out of a window than its allowance leaves"
        # Less than 1 mm² is not cut.
        if window.buffer(-(MITRE * amounts["trim"] + SLACK)).difference(void).area > 1 + rounding:
            yield "leaves a window uncut"


def judge(plan):
    wrong = Judge(plan).run()
    plies = {}
    for piece in plan["pieces"]:
        if piece["patch"] is None:
            plies.setdefault((piece["job"], piece["layer"], piece["ply"]), []).append(piece)
    return wrong + [f"{ply[2]}: {what}" for ply, pieces in plies.items() for what in judge_ply(plan, pieces)]


def run(warpwise, folder):
    """(what became of the job, what is wrong)"""
    command = [warpwise, "nest", folder / "job.toml", "--effort", "1", "--quiet", "--out", folder / "plan"]
    if (folder / "stock.json").exists():
        command += ["--stock", folder / "stock.json"]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode == 0:
        return "planned", judge(json.loads((folder / "plan" / "plan.json").read_text()))
    reasons = done.stderr.strip().splitlines()
    if done.returncode == 1 and len(reasons) >= 2:
        return "refused", []
    return "failed", [f"status {done.returncode}: {done.stderr.strip()[:2000] or 'without a word'}"]


def main(warpwise, folders):
    counts, failed = {}, 0
    with ThreadPoolExecutor() as pool:
        for folder, (became, wrong) in zip(folders, pool.map(lambda f: run(warpwise, f), folders)):
            counts[became] = counts.get(became, 0) + 1
            failed += bool(wrong)
            for what in wrong:
                print(f"{folder}: {what}", file=sys.stderr)
    words = ", ".join(f"{count} {what}" for what, count in sorted(counts.items()))
    print(f"{len(folders)} jobs made at random: {words}, {failed} wrong")
    if failed or counts.get("planned", 0) * 2 < len(folders):
        raise SystemExit("check_random.py: jobs made at random came out wrong, or too few were planned")


if __name__ == "__main__":
    if len(sys.argv) < 3:
        raise SystemExit(__doc__)
    main(sys.argv[1], sorted(map(Path, sys.argv[2:])))
