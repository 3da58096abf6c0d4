#!/usr/bin/env python3
"""The worked case of ply preparation, from the rules of the trade alone: no code of the crate.

    python3 .ci/reference/worked_case.py > tests/data/worked_case.json

CI runs it again and compares its output with the committed file byte for byte; tests/ply_worked_case.rs holds the crate to that file.

The rules, as plain complex numbers (x + iy, y up, degrees anticlockwise positive):

1.  A template is drawn with an arrow, the part's 0 degrees, in direction A. If it shows the other hand (taken off a plug), it is
    mirrored about its arrow.
2.  The mirrored hand is mirrored about the arrow once more, and laid at the angle that mirrors what the first hand, laid at a, shows:
    its structure (-a), or, for a visible balanced twill, its line as well (see `book_matched`).
3.  The warp of a ply at angle a runs in direction A + a. On the cloth the warp is the x axis: the template is turned by -(A + a).
4.  A permitted turn t is added; a piece laid face down is then mirrored about the warp (y becomes -y).

Coordinates are in mm, and only their differences count: where the origin lies has no meaning.
"""

import cmath
import json
import math

ARROW = 20
ANGLE = 30

# An F: no turn and no mirror brings it onto itself.
F = [(0, 0), (30, 0), (30, 80), (75, 80), (75, 105), (30, 105), (30, 135), (95, 135), (95, 165), (0, 165)]

# The same F in a drawing whose y runs down from the top of a page 200 mm high.
PAGE = 200
F_DOWN = [(x, PAGE - y) for x, y in F]


def unit(degrees):
    return cmath.exp(1j * math.radians(degrees))


def mirror_about(z, degrees):
    """Mirrors about the line through the origin in a direction."""
    return unit(2 * degrees) * z.conjugate()


def book_matched(a):
    """The warp of the other hand for a visible twill laid at a on the first hand, found by trying every whole degree.

    The line runs at warp + 45. Wanted: the line of the other hand is the mirror image of the first one's (lines have no
    head: modulo 180), and the fabric, which is the same both ways, is the mirror image of the first one's (modulo 90).
    """
    found = [w for w in range(-89, 91) if (w + 45 + a + 45) % 180 == 0 and (w + a) % 90 == 0]
    assert len(found) == 1
    return found[0]


def same_line(a):
    """The warp of the other hand whose line runs as on the first hand, and whether its fabric is the mirror image of the first one's."""
    found = [w for w in range(-89, 91) if (w - a) % 180 == 0]
    assert len(found) == 1
    return found[0], (found[0] + a) % 90 == 0


def permitted(visible):
    """Balanced 2/2 twill: any quarter turn, either face, keeps its strength. By look a quarter turn reverses the diagonal, and so
    does turning it over; both together keep it."""
    ways = []
    for face in ("up", "down"):
        for turn in (0, 90, 180, 270):
            reversals = (turn % 180 != 0) + (face == "down")
            if not visible or reversals % 2 == 0:
                ways.append((turn, face))
    return ways


def placed(net, taken_off, hand, laid, turn, face):
    points = [complex(x, y) for x, y in net]
    if taken_off == "plug":
        points = [mirror_about(z, ARROW) for z in points]
    if hand == "mirrored":
        points = [mirror_about(z, ARROW) for z in points]
    points = [z * unit(-(ARROW + laid)) * unit(turn) for z in points]
    if face == "down":
        points = [z.conjugate() for z in points]
    return points


def placed_from_y_down(net, taken_off, hand, laid, turn, face):
    """The same, worked throughout in a plane whose y runs down, where an anticlockwise turn is a turn the other way, and only at the
    end put the right way up."""
    points = [complex(x, y) for x, y in net]
    for mirrored in (taken_off == "plug", hand == "mirrored"):
        if mirrored:
            points = [unit(-2 * ARROW) * z.conjugate() for z in points]
    points = [z * unit(ARROW + laid) * unit(-turn) for z in points]
    if face == "down":
        points = [z.conjugate() for z in points]
    return [z.conjugate() for z in points]


def from_corner(points):
    left, low = min(z.real for z in points), min(z.imag for z in points)
    return [(z.real - left, z.imag - low) for z in points]


def same_up_to_shift(p, q):
    return all(math.dist(a, b) < 1e-9 for a, b in zip(from_corner(p), from_corner(q)))


def number(x):
    """Six decimals (a nanometre), without a negative zero."""
    return round(x, 6) + 0.0


cases = []
for taken_off in ("mould", "plug"):
    for visible in (False, True):
        for hand in ("as traced", "mirrored"):
            laid = ANGLE if hand == "as traced" else book_matched(ANGLE) if visible else -ANGLE
            for turn, face in permitted(visible):
                how = (taken_off, hand, laid, turn, face)
                points = placed(F, *how)
                assert same_up_to_shift(points, placed_from_y_down(F_DOWN, *how))
                # Forgetting that y runs down must show.
                assert not same_up_to_shift(points, placed(F_DOWN, *how))
                direction = -laid + turn if face == "up" else laid - turn
                cases.append(
                    {
                        "taken_off": taken_off,
                        "visible": visible,
                        "hand": hand,
                        "face": face,
                        "turn": turn,
                        "laid_angle": laid,
                        "arrow_direction": (direction + 180) % 360 - 180,
                        "net": [[number(x), number(y)] for x, y in from_corner(points)],
                    }
                )

twill = [
    {
        "angle": a,
        "line": a + 45,
        "book_matched": book_matched(a),
        "same_line": same_line(a)[0],
        "same_line_is_mirror_image": same_line(a)[1],
    }
    for a in (0, 30, 45, 90)
]

path = "M" + " L".join(f"{x},{y}" for x, y in F_DOWN) + " Z"
svg = (
    f'<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="{PAGE}mm" viewBox="0 0 120 {PAGE}">'
    f'<path id="f" d="{path}" fill="none" stroke="black"/></svg>'
)

lines = ["{"]
lines.append(f' "arrow": {ARROW},')
lines.append(f' "angle": {ANGLE},')
lines.append(f' "net": {json.dumps(F)},')
lines.append(f' "net_y_down": {json.dumps(F_DOWN)},')
lines.append(f' "svg": {json.dumps(svg)},')
lines.append(' "twill": [')
lines.append(",\n".join("  " + json.dumps(t) for t in twill))
lines.append(" ],")
lines.append(' "cases": [')
lines.append(",\n".join("  " + json.dumps(c) for c in cases))
lines.append(" ]")
lines.append("}")
print("\n".join(lines))
