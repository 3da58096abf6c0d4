"""Judges the tracer on rendered photos of known outlines.

usage: check_photos.py WARPWISE FOLDER [--count 100] [--first 0] [--jobs 2] [--keep]

With the first scene come those that were once traced wrong (ONCE_WRONG).

For each photo: area within 0.5 %, boundary within 1.0 mm for 95 % of its length and 2.0 mm everywhere (both allowed in proportion where a
pixel spans more than 0.35 mm), arrow within 1 degree. A photo that is refused counts as not traced; one that is traced outside of these
bounds without being refused counts as silently wrong.
"""
import argparse
import json
import math
import os
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import cv2
import numpy as np
from shapely.geometry import Polygon, LineString, Point

import photo_scenes


# The flank of a slit taken for the edge; cuts that begin in a dart, which are in doubt; tips of darts too short; a bent corner put too far out.
ONCE_WRONG = [1018, 1029, 2140, 118, 177, 2127, 2340, 2392, 2540, 2166]


def best_motion(truth, traced, arrow, traced_arrow):
    """The turn and shift (no scale, no mirror) that lay the traced outline on the true one: first by centroid and arrow, then by nearest points."""
    angle = math.atan2(*(arrow[1] - arrow[0])[::-1]) - math.atan2(*(traced_arrow[1] - traced_arrow[0])[::-1])
    points = np.array([traced.exterior.interpolate(t, normalized=True).coords[0] for t in np.linspace(0, 1, 600, endpoint=False)])
    c0, c1 = np.array(traced.centroid.coords[0]), np.array(truth.centroid.coords[0])
    r = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    t = c1 - r @ c0
    for _ in range(15):
        moved = points @ r.T + t
        near = np.array([truth.exterior.interpolate(truth.exterior.project(Point(p))).coords[0] for p in moved])
        a, b = points.mean(0), near.mean(0)
        u, _, vt = np.linalg.svd((points - a).T @ (near - b))
        d = np.sign(np.linalg.det(vt.T @ u.T))
        r = vt.T @ np.diag([1, d]) @ u.T
        t = b - r @ a
    return r, t


def judge(scene, answer):
    """What is out of bounds, and the figures."""
    k = max(1.0, scene["camera"].resolution / 0.35)
    templates = answer["templates"]
    if len(templates) != 1:
        return [f"{len(templates)} templates"], {}
    t = templates[0]
    truth = scene["shape"]
    traced = Polygon(t["net"], t["holes"])
    out = []
    if t["arrow"] is None:
        return ["no arrow" if any("no arrow" in w for w in answer["warnings"]) else "no arrow, not said"], {}
    arrow = np.array(t["arrow"])
    r, shift = best_motion(truth, traced, scene["arrow"], arrow)
    move = lambda p: np.asarray(p) @ r.T + shift
    moved = Polygon(move(traced.exterior.coords), [move(h.coords) for h in traced.interiors])
    area = abs(moved.area / truth.area - 1) * 100
    if area > 0.5:
        out.append(f"area {area:.2f} %")
    if len(moved.interiors) != len(truth.interiors):
        out.append(f"{len(moved.interiors)} holes instead of {len(truth.interiors)}")
    offs = []
    for a, b in ((truth, moved), (moved, truth)):
        for ring in [a.exterior, *a.interiors]:
            n = max(50, int(ring.length / 2))
            offs.append([b.boundary.distance(ring.interpolate(i / n, normalized=True)) for i in range(n)])
    p95 = max(np.percentile(o, 95) for o in offs)
    worst = max(max(o) for o in offs)
    if p95 > 1.0 * k:
        out.append(f"boundary {p95:.2f} mm at 95 %")
    if worst > 2.0 * k:
        out.append(f"boundary {worst:.2f} mm at worst")
    d0, d1 = scene["arrow"][1] - scene["arrow"][0], move(arrow[1]) - move(arrow[0])
    turn = abs((math.degrees(math.atan2(d1[1], d1[0]) - math.atan2(d0[1], d0[0])) + 180) % 360 - 180)
    if turn > 1.0:
        out.append(f"arrow {turn:.2f} degrees")
    return out, dict(area=area, p95=p95, worst=worst, arrow=turn, cuts=len(t["cuts"]), reliefs=len(scene["reliefs"]),
                     scale=math.sqrt(moved.area / truth.area))


def one(task):
    warpwise, folder, seed, cards, resolution, keep = task
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    scene = photo_scenes.make_scene(rng, cards)
    photo = Path(folder) / f"photo-{seed:04}.jpg"
    cv2.imwrite(str(photo), photo_scenes.render(scene, cards, resolution, rng), [cv2.IMWRITE_JPEG_QUALITY, 80])
    began = time.time()
    run = subprocess.run([warpwise, "trace", "photo", str(photo), "--net", "edge", "--inked", "up", "--off", "mould", "--json", "--out", str(folder)],
                         capture_output=True, text=True, env={**os.environ, "RAYON_NUM_THREADS": "1"})
    seconds = time.time() - began
    about = dict(seed=seed, size=round(scene["size"]), tilt=round(scene["camera"].tilt), k1=round(scene["camera"].k1, 3),
                 mm=round(scene["camera"].resolution, 3), cards=len(scene["cards"]), light=bool(scene["tape"] > scene["ground"]), seconds=round(seconds, 2))
    if run.returncode == 0:
        answer = json.loads(run.stdout)
        wrong, figures = judge(scene, answer)
        about.update({k: round(float(v), 4) for k, v in figures.items()}, doubt=round(answer["uncertainty_mm"], 2), marks=round(answer["error_mm"], 3),
                     warned=answer["warnings"])
        # Wrong with doubtful stretches said and drawn in red is not wrong in silence.
        doubted = any("of the outline are doubtful" in w for w in answer["warnings"])
        about["verdict"] = "good" if not wrong else "said" if doubted else "wrong"
        about["why"] = "; ".join(wrong)
    elif run.returncode == 1:
        about["verdict"], about["why"] = "refused", run.stderr.strip()
    else:
        about["verdict"], about["why"] = "crashed", run.stderr.strip()[-400:]
    if not keep:
        photo.unlink()
        for end in (".svg", "-check.svg"):
            photo.with_name(photo.stem + end).unlink(missing_ok=True)
    return about


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("warpwise")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", action="store_true")
    arguments = parser.parse_args()
    arguments.folder.mkdir(parents=True, exist_ok=True)
    cards, resolution = photo_scenes.card_textures(arguments.warpwise, arguments.folder)
    seeds = list(range(arguments.first, arguments.first + arguments.count))
    if arguments.first == 0:
        seeds += [seed for seed in ONCE_WRONG if seed not in seeds]
    tasks = [(arguments.warpwise, arguments.folder, seed, cards, resolution, arguments.keep) for seed in seeds]
    results = []
    with ProcessPoolExecutor(arguments.jobs) as pool:
        for about in pool.map(one, tasks):
            results.append(about)
            if about["verdict"] != "good" or arguments.keep:
                print(json.dumps(about, ensure_ascii=False), flush=True)
    good = [r for r in results if r["verdict"] == "good"]
    count = lambda v: sum(r["verdict"] == v for r in results)
    print(f"{len(results)} photos: {len(good)} traced within bounds, {count('refused')} refused, {count('said')} wrong but said, {count('wrong')} silently wrong, {count('crashed')} crashed")
    if good:
        column = lambda k: np.array([r[k] for r in good])
        for k, unit in (("area", "%"), ("p95", "mm"), ("worst", "mm"), ("arrow", "degrees"), ("seconds", "s")):
            print(f"  {k}: middle {np.median(column(k)):.3f}, 95 % {np.percentile(column(k), 95):.3f}, most {column(k).max():.3f} {unit}")
        print(f"  relief cuts found: {int(column('cuts').sum())} of {int(column('reliefs').sum())}")
    enough = len(good) >= 0.93 * len(results)
    sys.exit(0 if enough and count("wrong") == 0 and count("crashed") == 0 else 1)


if __name__ == "__main__":
    main()
