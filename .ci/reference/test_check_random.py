#!/usr/bin/env python3
"""Sees to it that check_random.py finds a right ply right and wrong ones wrong, each for its own reason.

    test_check_random.py

The right ply is made here: a plate of 300 by 200 with trim below and left, a lap on the right, a butt edge on top and a window near it.
"""

import copy

from check_random import judge_ply

NET = [[0, 0], [300, 0], [300, 200], [0, 200]]
WINDOW = [[100, 110], [100, 190], [180, 190], [180, 110]]
CUT = [[-25, -25], [315, -25], [315, 200], [-25, 200]]
HOLE = [[125, 135], [125, 165], [155, 165], [155, 135]]


def plan(kinds=("trim", "lap", "butt", "trim"), trim=25.0):
    layer = {"job": "kayak", "layer": 1, "trim": trim, "lap": 15.0, "items": [{"template": "plate"}]}
    template = {"job": "kayak", "template": "plate", "arrow": 0.0, "net": NET, "edges": list(kinds), "holes": [WINDOW], "on": None}
    return {"layers": [layer], "templates": [template]}


def piece(outline=CUT, holes=(HOLE,)):
    return {
        "job": "kayak", "layer": 1, "template": "plate", "hand": "as traced", "angle": 0.0, "origin": [0, 0], "outline": copy.deepcopy(outline),
        "holes": copy.deepcopy(list(holes)), "net": [NET, WINDOW],
    }


def found(words, *args, **kinds):
    said = list(judge_ply(plan(**kinds), [piece(*args)]))
    assert any(words in what for what in said) if words else not said, (words, said)


found("")
found("farther out", [*CUT[:3], [170, 200], [170, 206], [110, 206], [110, 200], CUT[3]])  # out of the window, through the butt edge
found("inside the net line", [[-25, -25], [315, -25], [315, 199], [-25, 199]])
found("lacks", [[-25, -20], [315, -20], [315, 200], [-25, 200]])
found("farther out", trim=20.0)
found("lacks", trim=30.0)
found("farther out", kinds=("butt", "lap", "butt", "trim"))
found("leaves a window uncut", CUT, [])
found("more out of a window", CUT, [[[120, 130], [120, 170], [160, 170], [160, 130]]])
print("check_random.py: the right ply passes, eight wrong ones do not")
