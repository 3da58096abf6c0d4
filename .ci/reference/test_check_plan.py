#!/usr/bin/env python3
"""Sees to it that check_plan.py passes a right plan and refuses wrong ones, each for its own reason.

    test_check_plan.py

The right plan is made here: two handed pieces, one with a hole that another lies in, a quarter turn, a piece face down, a piece at
an odd angle, two bench segments, a flaw, one offcut.
"""

import copy

from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from check_plan import Judge, mirrored, moved, turned

WIDTH, SELVEDGE, USED = 1000.0, 10.0, 900.0


def snap(points):
    return [[round(x, 3) + 0.0, round(y, 3) + 0.0] for x, y in points]


def template(name, net, holes=(), arrow=0.0):
    return {
        "template": name, "job": "kayak", "arrow": arrow, "net": net, "edges": ["butt"] * len(net), "holes": list(holes),
        "cuts": [], "no_splice": [], "on": None,
    }


def piece(of, angle, hand, permitted, copies=1, trim=0):
    """As preparation should make it: arrow along +x, mirrored for the other hand, turned by minus the angle."""
    rings = [turned(ring, -of["arrow"]) for ring in [of["net"], *of["holes"]]]
    if hand == "mirrored":
        rings = [mirrored(ring) for ring in rings]
    rings = [snap(turned(ring, -angle)) for ring in rings]
    arrow = snap(turned([(0, 0), (100, 0)], -angle))
    return {
        "piece": f"{of['template']}-{hand}", "number": "1.1", "job": "kayak", "layer": 1, "ply": of["template"], "template": of["template"],
        "hand": hand, "angle": angle, "cloth": "twill", "part": None, "splice": None, "patch": None, "copies": copies,
        "permitted": [{"turn": t, "face": f} for t, f in permitted], "tolerance": 0.0, "permitted_by": "", "may_cross_bench": False,
        "outline": rings[0], "holes": rings[1:], "net": copy.deepcopy(rings), "cuts": [], "marks": [], "arrow": arrow,
    }


def place(of, turn, face, x, y, number=1):
    def laid(ring):
        ring = turned(ring, turn)
        return snap(moved(mirrored(ring) if face == "down" else ring, x, y))

    return {
        "piece": of["piece"], "copy": number, "turn": turn, "face": face, "x": x, "y": y,
        "outline": laid(of["outline"]), "holes": [laid(hole) for hole in of["holes"]],
    }


def good():
    frame = template(
        "frame", [[0, 0], [300, 0], [300, 200], [40, 240], [0, 200]], [[[50, 40], [50, 170], [250, 170], [250, 40]]], arrow=20.0
    )
    letter = template("hip", [[0, 0], [60, 0], [60, 12], [15, 12], [15, 30], [40, 30], [40, 42], [15, 42], [15, 80], [0, 80]], arrow=0.0)
    all_turns = [(0, "up"), (90, "up"), (180, "up"), (270, "up"), (90, "down"), (33, "up")]
    frames = piece(frame, -20.0, "as traced", [(0, "up"), (180, "up")])
    left = piece(letter, 30.0, "as traced", all_turns, copies=2)
    right = piece(letter, -30.0, "mirrored", all_turns, copies=2)
    placed = [
        place(frames, 0, "up", 20.0, 20.0),
        place(left, 0, "up", 120.0, 105.0),  # in the hole of the frame
        place(left, 90, "up", 530.0, 100.0, 2),
        place(right, 90, "down", 530.0, 300.0, 1),
        place(right, 33, "up", 700.0, 300.0, 2),
    ]
    offcut = [[15.0, 450.0], [880.0, 450.0], [880.0, 985.0], [15.0, 985.0]]
    flaw = [[600.0, 100.0], [620.0, 100.0], [620.0, 120.0], [600.0, 120.0]]
    shapes = unary_union([Polygon(p["outline"], p["holes"]) for p in placed])
    cloth = box(0, 0, USED, WIDTH)
    areas = {"pieces_area": shapes.area, "offcuts_area": Polygon(offcut).area, "consumed_area": cloth.area}
    areas["waste_area"] = cloth.difference(shapes).difference(Polygon(offcut)).area
    return {
        "schema": 1, "tool": "warpwise 0", "id": "0", "jobs": ["kayak"], "seed": 1, "effort": 1, "lanes": 8, "seconds": None,
        "interrupted": False, "currency": "EUR",
        "rules": {"gap": 5.0, "angle_tolerance": 0.0, "bench_length": 450.0, "least_offcut_width": 40.0},
        "templates": [frame, letter], "layers": [], "pieces": [frames, left, right], "materials": [], "warnings": [],
        "stocks": [{
            "id": "roll", "cloth": "twill", "kind": "roll", "face": "up", "outline": [[0, 0], [USED, 0], [USED, WIDTH], [0, WIDTH]],
            "holes": [], "flaws": [flaw], "selvedge": SELVEDGE, "segments": [[0, 450.0], [450.0, USED]], "used_length": USED,
            "placed": placed,
            "offcuts": [{
                "id": "0-1", "outline": offcut, "holes": [], "area": Polygon(offcut).area, "largest_rectangle": [15, 450, 865, 535],
            }],
        }],
        "cloths": [{
            "cloth": "twill", "roll_width": WIDTH, "usable_width": WIDTH - 2 * SELVEDGE, "used_length": USED, "least_length": 500.0,
            "least_length_by": "area", "yield": shapes.area / cloth.area, "cost": None, "mass": None, **areas,
        }],
    }


def shift(placed, dx, dy):
    placed["x"] += dx
    placed["y"] += dy
    placed["outline"] = snap(moved(placed["outline"], dx, dy))
    placed["holes"] = [snap(moved(hole, dx, dy)) for hole in placed["holes"]]


# What is done to a right plan, and a part of what must be said about it.
def wrong_ways():
    stock = lambda plan: plan["stocks"][0]
    laid = lambda plan, i: stock(plan)["placed"][i]
    yield "on a selvedge", lambda p: shift(laid(p, 0), 0, -15)
    yield "leaves the cloth", lambda p: shift(laid(p, 0), 0, -35)
    yield "lies on a flaw", lambda p: shift(laid(p, 2), 120, 0)
    yield "across two bench segments", lambda p: shift(laid(p, 2), -60, 0)
    yield "less than the gap", lambda p: shift(laid(p, 1), 0, -12.5)
    yield "overlap by", lambda p: shift(laid(p, 3), 0, -170)
    yield "is not that of its piece", lambda p: laid(p, 1).update(x=laid(p, 1)["x"] + 0.01)
    yield "is not that of its piece", lambda p: laid(p, 3).update(face="up")
    yield "is not that of its piece", lambda p: laid(p, 1).update(outline=snap(moved(laid(p, 1)["outline"], 0.01, 0)))
    yield "is not that of its piece", lambda p: laid(p, 0).update(holes=[])
    yield "is not permitted", lambda p: laid(p, 0).update(turn=90)
    yield "is not permitted", lambda p: p["pieces"][2].update(permitted=[{"turn": 90, "face": "up"}, {"turn": 33, "face": "up"}])
    yield "lies nowhere", lambda p: stock(p)["placed"].pop()
    yield "lies on roll and on roll", lambda p: laid(p, 2).update(copy=1)
    yield "is not asked for", lambda p: p["pieces"][1].update(copies=1)
    yield "is of cloth", lambda p: p["pieces"][0].update(cloth="ud")
    yield "is not that of template", lambda p: p["pieces"][1].update(angle=-30.0)
    yield "is not that of template", lambda p: p["pieces"][1].update(hand="mirrored")
    yield "is not that of template", lambda p: p["templates"][1].update(arrow=1.0)
    yield "its arrow points", lambda p: p["pieces"][1].update(arrow=[[0, 0], [100, 0]])
    yield "leaves its cut line", lambda p: p["pieces"][0]["outline"].__setitem__(1, [299.0, 0.0])
    yield "wrong way round", lambda p: p["pieces"][0]["outline"].reverse()
    yield "not on the 1 µm grid", lambda p: p["pieces"][0]["outline"].__setitem__(0, [0.0004, 0.0])
    yield "crosses itself", lambda p: stock(p)["offcuts"][0]["outline"].reverse() or stock(p)["offcuts"][0]["outline"].insert(2, [0, 0])
    yield "lies on a piece", lambda p: stock(p)["offcuts"][0].update(outline=[[15.0, 50.0], [880.0, 50.0], [880.0, 985.0], [15.0, 985.0]])
    yield "not all usable cloth", lambda p: stock(p)["offcuts"][0].update(outline=[[15.0, 450.0], [880.0, 450.0], [880.0, 995.0], [15.0, 995.0]])
    yield "lies on another offcut", lambda p: stock(p)["offcuts"].append(copy.deepcopy(stock(p)["offcuts"][0]))
    yield "mm², not", lambda p: stock(p)["offcuts"][0].update(area=1.0)
    yield "its largest rectangle", lambda p: stock(p)["offcuts"][0].update(largest_rectangle=[15, 450, 900, 500])
    yield "do not follow each other", lambda p: stock(p).update(segments=[[0, 440.0], [450.0, USED]])
    yield "longer than the bench", lambda p: p["rules"].update(bench_length=400.0)
    yield "not at its used length", lambda p: stock(p).update(used_length=890.0)
    yield "pieces area", lambda p: p["cloths"][0].update(pieces_area=p["cloths"][0]["pieces_area"] + 100)
    yield "waste area", lambda p: p["cloths"][0].update(waste_area=0.0)
    yield "add up to", lambda p: p["cloths"][0].update(offcuts_area=0.0)
    yield "its yield is", lambda p: p["cloths"][0].update({"yield": 0.9})
    yield "its rolls use", lambda p: p["cloths"][0].update(used_length=800.0)
    yield "its usable width", lambda p: p["cloths"][0].update(usable_width=1000.0)
    yield "least length", lambda p: p["cloths"][0].update(least_length=2000.0)


def main():
    found = Judge(good()).run()
    if found:
        raise SystemExit("a right plan is refused:\n" + "\n".join(found))
    count = 0
    for count, (reason, spoil) in enumerate(wrong_ways(), 1):
        plan = good()
        spoil(plan)
        found = Judge(plan).run()
        if not any(reason in what for what in found):
            raise SystemExit(f'wrong plan {count} should be refused with "{reason}", but what is said is {found}')
    print(f"test_check_plan.py: one right plan passes, {count} wrong ones are refused")


if __name__ == "__main__":
    main()
