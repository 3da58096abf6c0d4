#!/usr/bin/env python3
"""Makes a job from drawings that our own code had no hand in.

    make_drawings.py DIR

Writes into DIR: DXF drawings of kayak parts made with ezdxf (R12, R2000, R2010, text and binary, mm and inch), a table of
measured points, `job.toml` that uses them all, and `expected.json`: area and size of every ply as ezdxf and shapely find
them in the written files, by their own reading, flattening and joining.
"""

import json
import logging
import math
import sys
from pathlib import Path

import ezdxf
from ezdxf import units
from ezdxf.math import rational_bspline_from_arc
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.ops import polygonize, unary_union

QUARTER = math.tan(math.radians(90) / 4)  # bulge of a quarter circle
TRIM = 25.0
FINE = 2e-5  # distance of the reference's chords from the curve, drawing units
ANGLES = [0, 45, -30]


def new(version, unit=units.MM, **named):
    doc = ezdxf.new(version, **named)
    if version != "R12":
        doc.units = unit
    return doc, doc.modelspace()


def seat_base():
    """Rounded rectangle by bulges, a waist on one side only, a round drain hole, a label and a dimension to be left out."""
    doc, msp = new("R2000")
    r, w, h = 60, 430, 380
    corners = [
        (r, 0, 0), (w - r, 0, QUARTER), (w, r, 0), (w, 150, -0.2), (w, 250, 0), (w, h - r, QUARTER),
        (w - r, h, 0), (r, h, QUARTER), (0, h - r, 0), (0, r, QUARTER),
    ]
    msp.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": "SEAT"})
    msp.add_circle((150, 140), 22, dxfattribs={"layer": "SEAT"})
    msp.add_text("seat base", dxfattribs={"layer": "NOTES", "height": 12})
    msp.add_point((10, 10), dxfattribs={"layer": "NOTES"})
    msp.add_linear_dim(base=(0, -40), p1=(0, 0), p2=(w, 0)).render()
    frozen = doc.layers.add("OLD")
    frozen.freeze()
    msp.add_circle((150, 140), 900, dxfattribs={"layer": "OLD"})
    return doc


def hip_plate():
    """A B-spline and two straight lines that meet its ends; drawn out of order and out of direction."""
    doc, msp = new("R2010")
    msp.add_line((0, 0), (0, 160))
    msp.add_open_spline([(0, 160), (60, 230), (180, 210), (260, 120), (230, 40), (150, 0)], degree=3)
    msp.add_line((0, 0), (150, 0))
    return doc


def hatch_cover():
    """An ellipse in inches, turned."""
    doc, msp = new("R2000", units.IN)
    a = math.radians(20)
    msp.add_ellipse((10, 5), major_axis=(9.5 * math.cos(a), 9.5 * math.sin(a)), ratio=0.62)
    return doc


def bulkhead():
    """A chain of lines, arcs and part of an ellipse; one arc lies in a plane seen from below."""
    doc, msp = new("R2010", units.CM)
    msp.add_line((-24, 0), (24, 0))
    msp.add_arc((20, 0), 4, 0, 90)
    msp.add_line((20, 4), (20, 18))
    msp.add_ellipse((0, 18), major_axis=(20, 0), ratio=0.45, start_param=0, end_param=math.pi)
    msp.add_line((-20, 4), (-20, 18))
    msp.add_arc((20, 0), 4, 0, 90, dxfattribs={"extrusion": (0, 0, -1)})
    return doc


def foot_rest():
    """A block in a block: scaled unevenly, turned and mirrored."""
    doc, msp = new("R2010")
    pad = doc.blocks.new("PAD", base_point=(10, 10))
    pad.add_lwpolyline([(10, 10, 0), (110, 10, 0.3), (110, 60, 0), (40, 80, -0.5), (10, 60, 0)], format="xyb", close=True)
    pad.add_attdef("SIZE", (0, 0), "L")
    outer = doc.blocks.new("FOOT-REST")
    outer.add_blockref("PAD", (5, 5), dxfattribs={"xscale": 1.5, "yscale": -1.2, "rotation": 30})
    msp.add_blockref("FOOT-REST", (300, 200), dxfattribs={"xscale": 2, "yscale": 2, "rotation": -70})
    return doc


def cockpit_rim():
    """A flat ring: both edges are exact arcs as rational splines, a quarter each."""
    doc, msp = new("R2000")
    for radius, layer in [(300, "OUTER"), (240, "INNER")]:
        for quarter in range(4):
            spline = rational_bspline_from_arc((0, 0), radius, 90 * quarter, 90 * (quarter + 1))
            msp.add_spline(dxfattribs={"layer": layer}).apply_construction_tool(spline)
    return doc


def skeg_cheek():
    """A curve through fit points alone, closed by a polyline."""
    doc, msp = new("R2010")
    msp.add_spline([(0, 0), (120, 70), (260, 60), (400, -20)])
    msp.add_lwpolyline([(400, -20), (380, -90), (0, -60), (0, 0)])
    return doc


def knee_brace():
    """The old form of the format: heavy polylines, no unit."""
    doc, msp = new("R12")
    msp.add_polyline2d(
        [(0, 0, 0), (7, 0, QUARTER), (8, 1, 0), (6, 5, -0.15), (1, 4, 0.4)], format="xyb", close=True, dxfattribs={"layer": "KNEE"}
    )
    return doc


def pattern():
    """Two pieces on the numbered layers of ASTM D6673, each in a block."""
    doc, msp = new("R2000")
    for name, x, size in [("BACK-REST", 0, (320, 210)), ("SIDE-POCKET", 500, (180, 140))]:
        block = doc.blocks.new(name)
        w, h = size
        block.add_polyline2d([(0, 0), (w, 0), (w * 0.9, h), (w * 0.1, h)], close=True, dxfattribs={"layer": "1"})
        block.add_polyline2d([(8, 6), (w - 8, 6), (w * 0.87, h - 6), (w * 0.13, h - 6)], close=True, dxfattribs={"layer": "14"})
        block.add_line((w * 0.3, h * 0.5), (w * 0.7, h * 0.5), dxfattribs={"layer": "7"})
        block.add_line((w * 0.5, 0), (w * 0.5, 8), dxfattribs={"layer": "4"})
        block.add_text(name, dxfattribs={"layer": "15", "height": 10})
        msp.add_blockref(name, (x, 0), dxfattribs={"layer": "1"})
    return doc


# id, file, how to make it, what the job must say, which block or layers hold the outline, millimetres per unit.
DRAWINGS = [
    ("seat-base", "seat-base.dxf", seat_base, {}, lambda e, blocks: e.dxf.layer == "SEAT", 1),
    ("hip-plate", "hip-plate.dxf", hip_plate, {}, None, 1),
    ("hatch-cover", "hatch-cover.dxf", hatch_cover, {}, None, 25.4),
    ("bulkhead", "bulkhead.dxf", bulkhead, {}, None, 10),
    ("foot-rest", "foot-rest.dxf", foot_rest, {}, None, 1),
    ("cockpit-rim", "cockpit-rim-binary.dxf", cockpit_rim, {}, None, 1),
    ("skeg-cheek", "skeg-cheek.dxf", skeg_cheek, {}, None, 1),
    ("knee-brace", "knee-brace-r12.dxf", knee_brace, {"unit": "in"}, None, 25.4),
    ("back-rest", "pattern.dxf", pattern, {"layer": "BACK-REST"}, lambda e, blocks: e.dxf.layer == "1" and "BACK-REST" in blocks, 1),
    ("side-pocket", "pattern.dxf", pattern, {"layer": "SIDE-POCKET"}, lambda e, blocks: e.dxf.layer == "1" and "SIDE-POCKET" in blocks, 1),
]


def entities(container, blocks=()):
    """Every entity that is drawn, those of inserted blocks in place, with the names of the blocks around it."""
    for entity in container:
        if entity.dxftype() == "INSERT":
            yield from entities(entity.virtual_entities(), blocks + (entity.dxf.name,))
        elif entity.dxftype() in ("LWPOLYLINE", "POLYLINE"):
            # Lines and arcs; their layer is that of the polyline.
            yield from entities(entity.virtual_entities(), blocks)
        else:
            yield entity, blocks


def points_of(entity):
    """A fine chain of points along an entity, on the true curve."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [entity.dxf.start, entity.dxf.end]
    if kind in ("ARC", "CIRCLE"):
        return list(entity.flattening(FINE))
    return list(entity.flattening(FINE, segments=16))  # ELLIPSE, SPLINE


def outline_of(file, wanted, mm):
    """The outline in a drawing as ezdxf and shapely see it, in mm."""
    doc = ezdxf.readfile(file)
    lines = []
    for entity, blocks in entities(doc.modelspace()):
        if entity.dxftype() in ("TEXT", "ATTDEF", "POINT", "DIMENSION") or (wanted and not wanted(entity, blocks)):
            continue
        points = [(p.x * mm, p.y * mm) for p in points_of(entity)]
        # Ends that meet in the drawing meet here in spite of rounding.
        lines.append(LineString([(round(x, 5), round(y, 5)) for x, y in points]))
    faces = list(polygonize(unary_union(lines)))
    if not faces:
        raise SystemExit(f"{file}: shapely finds no closed outline")
    return max(faces, key=lambda face: Polygon(face.exterior).area)


def measured_points(directory):
    """A table of points measured with a ruler."""
    points = [(0, 0), (180, -12), (395, 4), (410, 95), (300, 131), (120, 128), (-8, 90)]
    table = "x,y\n" + "".join(f"{x},{y}\n" for x, y in points)
    (directory / "deck-plate.csv").write_text(table)
    return Polygon(points)


def ply(template, outline, angle, edge):
    """What a ply of this outline owes, its arrow along +x: in the cloth frame it is turned by minus its angle.

    Areas and sizes are ranges: the corners of a grown outline may be rounded or mitred.
    """
    areas, sizes = [], []
    for join in ("round", "mitre"):
        grown = outline
        if edge == "trim":
            grown = outline.buffer(TRIM, join_style=join, quad_segs=64, mitre_limit=50)
        x0, y0, x1, y1 = affinity.rotate(grown, -angle, origin=(0, 0)).bounds
        areas.append(grown.area)
        sizes.append((x1 - x0, y1 - y0))
    return {
        "template": template,
        "angle": angle,
        "net_area_mm2": outline.area,
        "area_mm2": [min(areas), max(areas)],
        "size_mm": [[min(s), max(s)] for s in zip(*sizes)],
        # A chord tolerance of 0.02 mm all round, and the 1 µm grid.
        "area_tolerance_mm2": 0.021 * outline.length + 0.5,
        "size_tolerance_mm": 0.05,
    }


def main():
    logging.getLogger("ezdxf").setLevel(logging.ERROR)  # R12 has no unit: meant so here
    directory = Path(sys.argv[1])
    directory.mkdir(parents=True, exist_ok=True)
    job = [
        '[job]\nname = "drawings from elsewhere"\n',
        f"[cutting]\ngap = 5\ntrim = {TRIM}\nlap = 25\nbench_length = 2400\n",
        '[[cloth]]\nid = "twill"\nname = "carbon twill 200"\nweave = "twill 2/2"\nbalanced = true\ntwill_line = 45\nup = "paper"\n'
        "roll_width = 1250\nselvedge = 10\n",
    ]
    outlines = {}
    for name, file, make, says, wanted, mm in DRAWINGS:
        target = directory / file
        make().saveas(target, fmt="bin" if "binary" in file else "asc")
        outlines[name] = (file, says, outline_of(target, wanted, mm))
    outlines["deck-plate"] = ("deck-plate.csv", {"unit": "mm"}, measured_points(directory))

    expected = []
    for name, (file, says, outline) in outlines.items():
        edge = "trim" if name in ("hatch-cover", "deck-plate") else "butt"
        says = "".join(f'{key} = "{value}"\n' for key, value in says.items())
        job.append(
            f'[[template]]\nid = "{name}"\nfile = "{file}"\n{says}taken_off = "mould"\ninked_side = "up"\nedge = "{edge}"\n'
            f'hands = "as traced"\narrow = 0\n'
        )
        expected += [ply(name, outline, angle, edge) for angle in ANGLES]
    names = ", ".join(f'"{name}"' for name in outlines)
    for angle in ANGLES:
        job.append(f'[[layer]]\nname = "at {angle}"\ncloth = "twill"\nangle = {angle}\ntemplates = [{names}]\n')
    (directory / "job.toml").write_text("\n".join(job))
    (directory / "expected.json").write_text(json.dumps({"plies": expected}, indent=1))
    print(f"{len(outlines)} templates, {len(expected)} plies expected, in {directory}")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    main()
