#!/usr/bin/env python3
"""Judges cut plans from their plan.json alone, with a general geometry library (shapely).

    check_plan.py PLAN.json...

Holds that every piece comes from its template, that every copy lies somewhere once, turned as permitted and congruent to its
piece, inside the cloth and one bench segment, off selvedges, holes and flaws, the gap apart from its neighbours; that offcuts are
free cloth; and that the figures add up. Everything wrong is listed; exit status 1 if anything is.

Lengths mm. Shapely reckons in floating point, so contact is allowed to be 2 nm off; the 1 µm grid is far coarser.
"""

import json
import math
import sys
from pathlib import Path

from shapely import STRtree
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

CONTACT = 2e-6  # mm, rounding of floating point
SLIVER = 1e-3  # mm², what touching shapes may share by rounding
TURNED = 0.0021  # mm, both ends of a comparison lie on the grid
CUT = 0.0025  # mm, depth that the rounded corners of left-overs may reach


def polygon(outline, holes=()):
    return Polygon(outline, holes)


def turned(points, degrees):
    """Turned anticlockwise about the origin; quarter turns exactly."""
    quarter = {0: (0, 1), 90: (1, 0), 180: (0, -1), 270: (-1, 0)}
    sin, cos = quarter.get(degrees % 360, (math.sin(math.radians(degrees)), math.cos(math.radians(degrees))))
    return [(cos * x - sin * y, sin * x + cos * y) for x, y in points]


def mirrored(points):
    """About x; the ring keeps its sense, so the order of its points turns round."""
    return [(x, -y) for x, y in reversed(points)]


def moved(points, dx, dy):
    return [(x + dx, y + dy) for x, y in points]


def same_ring(a, b, tolerance):
    """True if two rings have the same points in the same order, wherever they begin."""
    if len(a) != len(b):
        return False
    near = lambda p, q: abs(p[0] - q[0]) <= tolerance and abs(p[1] - q[1]) <= tolerance
    starts = (k for k, q in enumerate(b) if near(a[0], q))
    return any(all(near(p, b[(k + i) % len(b)]) for i, p in enumerate(a)) for k in starts)


def same_rings(a, b, tolerance):
    rest = list(b)
    for ring in a:
        twin = next((other for other in rest if same_ring(ring, other, tolerance)), None)
        if twin is None:
            return False
        rest.remove(twin)
    return not rest


def overlap(a, b):
    return a.intersection(b).area if a.intersects(b) else 0.0


class Judge:
    def __init__(self, plan):
        self.plan = plan
        self.wrong = []
        self.pieces = {}
        self.narrowest = math.inf

    def say(self, who, what):
        self.wrong.append(f"{who}: {what}")

    def run(self):
        plan = self.plan
        if plan["schema"] != 1:
            self.say("plan", f"schema {plan['schema']} is not 1")
        self.rings()
        if self.wrong:
            return self.wrong  # Shapely does not reckon with broken rings.
        for piece in plan["pieces"]:
            if piece["piece"] in self.pieces:
                self.say(piece["piece"], "two pieces have this id")
            self.pieces[piece["piece"]] = piece
            self.preparation(piece)
        self.copies()
        for stock in plan["stocks"]:
            self.stock(stock)
        for cloth in plan["cloths"]:
            self.figures(cloth)
        return self.wrong

    def rings(self):
        """Rings are simple, of some area, anticlockwise (holes clockwise), not closed, and finite."""

        def ring(who, points, sense):
            if len(points) < 3 or any(not math.isfinite(c) for p in points for c in p):
                return self.say(who, "a ring with fewer than three points or with a coordinate that is no number")
            shape = Polygon(points)
            if not shape.is_valid or shape.area <= 0:
                return self.say(who, "a ring that crosses itself or has no area")
            if shape.exterior.is_ccw != sense:
                self.say(who, "a ring that runs the wrong way round")
            if points[0] == points[-1]:
                self.say(who, "a ring that repeats its first point")
            if any(abs(c * 1000 - round(c * 1000)) > 1e-4 for p in points for c in p):
                self.say(who, "a point that is not on the 1 µm grid")

        for piece in self.plan["pieces"]:
            ring(piece["piece"], piece["outline"], True)
            for hole in piece["holes"]:
                ring(piece["piece"], hole, False)
        for stock in self.plan["stocks"]:
            ring(stock["id"], stock["outline"], True)
            for placed in stock["placed"]:
                ring(placed["piece"], placed["outline"], True)
                for hole in placed["holes"]:
                    ring(placed["piece"], hole, False)
            for offcut in stock["offcuts"]:
                ring(offcut["id"], offcut["outline"], True)

    def preparation(self, piece):
        """The net line lies inside the cut line, and that of a whole ply is its template's, brought into the cloth frame."""
        who = piece["piece"]
        cut = polygon(piece["outline"], piece["holes"])
        for ring in piece["net"]:
            if not cut.buffer(TURNED).covers(LineString(ring + ring[:1])):
                self.say(who, "its net line leaves its cut line")
        templates = [t for t in self.plan["templates"] if (t["template"], t["job"]) == (piece["template"], piece["job"])]
        if len(templates) != 1:
            return self.say(who, f"the plan has {len(templates)} templates {piece['template']}, not one")
        template = templates[0]
        if piece["part"] is not None or piece["patch"] is not None or template["on"] is not None:
            return None
        # Turn the arrow to +x; mirror about it for the other hand; then the warp, at +angle from the arrow, to +x.
        rings = [turned(ring, -template["arrow"]) for ring in [template["net"], *template["holes"]]]
        if piece["hand"] == "mirrored":
            rings = [mirrored(ring) for ring in rings]
        rings = [turned(ring, -piece["angle"]) for ring in rings]
        corner = lambda some: (min(x for r in some for x, _ in r), min(y for r in some for _, y in r))
        (x, y), (px, py) = corner(rings), corner(piece["net"])
        rings = [moved(ring, px - x, py - y) for ring in rings]
        if not same_rings(rings, piece["net"], 1.5 * TURNED):
            self.say(who, f"its net line is not that of template {piece['template']} at {piece['angle']} degrees, {piece['hand']}")
        tail, head = piece["arrow"]
        direction = math.degrees(math.atan2(head[1] - tail[1], head[0] - tail[0]))
        length = math.hypot(head[0] - tail[0], head[1] - tail[1])
        off = (direction + piece["angle"] + 180) % 360 - 180
        # The ends of the arrow lie on the grid.
        if length == 0 or abs(math.radians(off)) > 0.0015 / length:
            self.say(who, f"its arrow points to {direction:.3f} degrees, not to {-piece['angle']}")

    def copies(self):
        laid = {}
        for stock in self.plan["stocks"]:
            for placed in stock["placed"]:
                key = (placed["piece"], placed["copy"])
                if key in laid:
                    self.say(f"{key[0]} copy {key[1]}", f"lies on {laid[key]} and on {stock['id']}")
                laid[key] = stock["id"]
        wanted = {(p["piece"], copy) for p in self.plan["pieces"] for copy in range(1, p["copies"] + 1)}
        for piece, copy in sorted(wanted - set(laid)):
            self.say(f"{piece} copy {copy}", "lies nowhere")
        for piece, copy in sorted(set(laid) - wanted):
            self.say(f"{piece} copy {copy}", "is not asked for")

    def congruent(self, who, placed, piece):
        ways = [way for way in piece["permitted"] if way["face"] == placed["face"]]
        apart = lambda way: abs((placed["turn"] - way["turn"] + 180) % 360 - 180)
        if not any(apart(way) <= piece["tolerance"] + 1e-9 for way in ways):
            self.say(who, f"turn {placed['turn']} face {placed['face']} is not permitted")

        def laid(ring):
            ring = turned(ring, placed["turn"])
            if placed["face"] == "down":
                ring = mirrored(ring)
            return moved(ring, placed["x"], placed["y"])

        rings = [laid(ring) for ring in [piece["outline"], *piece["holes"]]]
        if not same_rings(rings, [placed["outline"], *placed["holes"]], TURNED):
            self.say(who, "its outline is not that of its piece, turned, mirrored and moved as it says")

    def stock(self, stock):
        name = stock["id"]
        cloth = polygon(stock["outline"], stock["holes"])
        x0, y0, x1, y1 = cloth.bounds
        usable = box(x0, y0 + stock["selvedge"], x1, y1 - stock["selvedge"])
        flaws = unary_union([Polygon(flaw) for flaw in stock["flaws"]])
        self.segments(stock, x1)
        shapes = []
        for placed in stock["placed"]:
            who = f"{placed['piece']} copy {placed['copy']} on {name}"
            shape = polygon(placed["outline"], placed["holes"])
            shapes.append(shape)
            piece = self.pieces.get(placed["piece"])
            if piece is None:
                self.say(who, "is no piece of the plan")
                continue
            if piece["cloth"] != stock["cloth"]:
                self.say(who, f"is of cloth {piece['cloth']}, not {stock['cloth']}")
            self.congruent(who, placed, piece)
            if shape.difference(cloth).area > SLIVER:
                self.say(who, "leaves the cloth")
            if shape.difference(usable).area > SLIVER:
                self.say(who, "lies on a selvedge")
            if overlap(shape, flaws) > SLIVER:
                self.say(who, "lies on a flaw")
            left, _, right, _ = shape.bounds
            if right > stock["used_length"] + CONTACT:
                self.say(who, "lies beyond the used length")
            if not piece["may_cross_bench"] and not any(
                a - CONTACT <= left and right <= b + CONTACT for a, b in stock["segments"]
            ):
                self.say(who, "lies across two bench segments")
        self.apart(stock, shapes)
        self.offcuts(stock, shapes, cloth.intersection(usable).difference(flaws))

    def segments(self, stock, end):
        ends = stock["segments"]
        bench = self.plan["rules"]["bench_length"]
        starts = [0.0] + [b for _, b in ends]
        if any(abs(a - before) > CONTACT or b <= a for (a, b), before in zip(ends, starts)):
            self.say(stock["id"], f"its bench segments {ends} do not follow each other from 0")
        if abs(starts[-1] - stock["used_length"]) > CONTACT:
            self.say(stock["id"], f"its bench segments end at {starts[-1]}, not at {stock['used_length']}")
        if stock["kind"] == "roll":
            if bench is not None and any(b - a > bench + CONTACT for a, b in ends):
                self.say(stock["id"], f"a bench segment is longer than the bench ({bench})")
            if abs(end - stock["used_length"]) > CONTACT:
                self.say(stock["id"], f"its outline ends at {end}, not at its used length {stock['used_length']}")

    def apart(self, stock, shapes):
        """Distances are measured between the cut lines, holes and all, so a piece may lie in a hole of another."""
        gap = self.plan["rules"]["gap"]
        name = lambda i: f"{stock['placed'][i]['piece']} copy {stock['placed'][i]['copy']}"
        tree = STRtree(shapes)
        for i, shape in enumerate(shapes):
            for j in tree.query(shape.buffer(gap + 1), predicate="intersects"):
                if j <= i:
                    continue
                who = f"{name(i)} and {name(j)} on {stock['id']}"
                shared = overlap(shape, shapes[j])
                if shared > SLIVER:
                    self.say(who, f"overlap by {shared:.3f} mm²")
                    continue
                distance = shape.distance(shapes[j])
                self.narrowest = min(self.narrowest, distance)
                if distance < gap - CONTACT:
                    self.say(who, f"are {distance:.6f} mm apart, less than the gap of {gap}")

    def offcuts(self, stock, shapes, free):
        pieces = unary_union(shapes)
        kept = []
        for offcut in stock["offcuts"]:
            who = f"offcut {offcut['id']} of {stock['id']}"
            shape = polygon(offcut["outline"], offcut["holes"])
            # Corners of left-overs are rounded to the grid: less than the depth CUT, all along the edge.
            core = shape.buffer(-CUT)
            if core.difference(free).area > SLIVER:
                self.say(who, "is not all usable cloth (it leaves it, or lies on a selvedge, hole or flaw)")
            if overlap(core, pieces) > SLIVER:
                self.say(who, "lies on a piece")
            if any(overlap(core, other) > SLIVER for other in kept):
                self.say(who, "lies on another offcut")
            kept.append(core)
            if abs(shape.area - offcut["area"]) > 0.01:
                self.say(who, f"has {shape.area:.3f} mm², not {offcut['area']}")
            if shape.buffer(-self.plan["rules"]["least_offcut_width"] / 2 + 0.01).is_empty:
                self.say(who, "is nowhere as wide as the least useful width")
            x, y, w, h = offcut["largest_rectangle"]
            if w <= 0 or h <= 0 or not shape.buffer(CUT).covers(box(x, y, x + w, y + h)):
                self.say(who, "does not hold its largest rectangle")
        ids = [offcut["id"] for other in self.plan["stocks"] for offcut in other["offcuts"]]
        for offcut in stock["offcuts"]:
            if ids.count(offcut["id"]) > 1:
                self.say(f"offcut {offcut['id']}", "two offcuts have this id")

    def figures(self, figures):
        who = f"cloth {figures['cloth']}"
        # What was cut before stands in the figures of the plan it was cut by.
        before = (self.plan.get("drawn_from") or {}).get("cut_before", [])
        mine = [stock for stock in self.plan["stocks"] if stock["cloth"] == figures["cloth"] and stock["id"] not in before]
        rolls = [stock for stock in mine if stock["kind"] == "roll"]
        area = {"pieces": 0.0, "offcuts": 0.0, "waste": 0.0, "consumed": 0.0}
        rim = 0.0
        for stock in mine:
            cloth = polygon(stock["outline"], stock["holes"])
            pieces = unary_union([polygon(p["outline"], p["holes"]) for p in stock["placed"]])
            offcuts = unary_union([polygon(o["outline"], o["holes"]) for o in stock["offcuts"]])
            area["pieces"] += pieces.area
            area["offcuts"] += offcuts.area
            area["waste"] += cloth.difference(pieces).difference(offcuts).area
            area["consumed"] += cloth.area
            rim += pieces.length + offcuts.length + cloth.length
        # Every edge may be off by the grid.
        slack = 0.5 + 0.001 * rim
        for what, measured in area.items():
            if abs(figures[f"{what}_area"] - measured) > slack:
                self.say(who, f"its {what} area is {measured:.2f} mm², not {figures[f'{what}_area']}")
        total = figures["pieces_area"] + figures["offcuts_area"] + figures["waste_area"]
        if abs(total - figures["consumed_area"]) > slack:
            self.say(who, f"pieces, offcuts and waste add up to {total:.2f} mm², not to the {figures['consumed_area']} consumed")
        if figures["consumed_area"] > 0:
            share = figures["pieces_area"] / figures["consumed_area"]
            if abs(share - figures["yield"]) > 1e-5:
                self.say(who, f"its yield is {share:.6f}, not {figures['yield']}")
        used = sum(stock["used_length"] for stock in rolls)
        if abs(used - figures["used_length"]) > 0.001:
            self.say(who, f"its rolls use {used} mm, not {figures['used_length']}")
        for stock in rolls:
            width = max(y for _, y in stock["outline"])
            if abs(width - figures["roll_width"]) > CONTACT:
                self.say(who, f"its roll {stock['id']} is {width} wide, not {figures['roll_width']}")
            if abs(width - 2 * stock["selvedge"] - figures["usable_width"]) > 0.001:
                self.say(who, f"its usable width is not {figures['usable_width']}")
        if figures["least_length"] > figures["used_length"] + 0.001:
            self.say(who, "uses less than the least length any layout could")


def main():
    failed = 0
    for file in map(Path, sys.argv[1:]):
        try:
            judge = Judge(json.loads(file.read_text()))
        except (OSError, ValueError) as error:
            failed += 1
            print(f"{file}: cannot be read: {error}", file=sys.stderr)
            continue
        for what in judge.run():
            failed += 1
            print(f"{file}: {what}", file=sys.stderr)
        placed = sum(len(stock["placed"]) for stock in judge.plan["stocks"])
        least = "" if math.isinf(judge.narrowest) else f", nearest neighbours {judge.narrowest:.3f} mm apart"
        print(f"{file}: {placed} placed pieces on {len(judge.plan['stocks'])} stocks{least}")
    if failed:
        raise SystemExit(f"check_plan.py: {failed} faults")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        raise SystemExit(__doc__)
    main()
