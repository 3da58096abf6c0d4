"""Renders photos of taped templates from seeds, and judges the tracer on them. README.md beside this tells how."""

import argparse
import json
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import cv2
import numpy as np

import scene
import verdict
from camera import Camera
from verdict import CRASH, RIGHT, RIGHT_DOUBT, SAID, SILENT, TRUE_CAUSE, WRONG_CAUSE


def camera_of(truth):
    v = truth["view"]
    c = Camera(v["width"], v["height"], v["focal"], v["k1"], v["k2"], v["p1"], v["p2"], 0, 0, 0, (0, 0))
    c.turn, c.place, c.centre = (np.array(v[k]) for k in ("turn", "place", "centre"))
    return c


def overlay(picture, truth, result=None, size=1400):
    """The photo with the truth in green and what was traced in red."""
    k = size / max(picture.shape[:2])
    out = np.ascontiguousarray(cv2.resize(picture, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)[..., ::-1])
    camera = camera_of(truth)

    def line(p, colour, closed=True, width=2):
        q = (camera.project(np.asarray(p, float)) + 0.5) * k - 0.5
        cv2.polylines(out, [np.round(q * 16).astype(np.int32).reshape(-1, 1, 2)], closed, colour, width, cv2.LINE_AA, 4)

    for r in [truth["outer"], *truth["holes"]]:
        line(r, (60, 220, 60))
    for r in truth["reliefs"]:
        line(r, (220, 220, 0), False)
    line(truth["arrow"], (255, 120, 0), False, 1)
    if result and "motion" in result:
        r, t = (np.array(m) for m in result["motion"])
        for ring in [result["net"], *result["holes"]]:
            line(np.array(ring) @ r.T + t, (40, 40, 255), True, 1)
    return out


def one(task):
    warpwise, seed, megapixels, hints, keep = task
    cv2.setNumThreads(1)
    jpeg, picture, truth = scene.build(seed, megapixels)
    with tempfile.TemporaryDirectory() as folder:
        photo = Path(folder) / f"{seed}.jpg"
        photo.write_bytes(jpeg)
        first = verdict.trace(warpwise, photo, truth, folder)
        second = None
        if hints and first["verdict"] not in (RIGHT, RIGHT_DOUBT):
            second = verdict.trace(warpwise, photo, truth, folder, "--at", "{:.0f},{:.0f}".format(*truth["at"]))
    if keep:
        keep = Path(keep)
        (keep / f"{seed}.jpg").write_bytes(jpeg)
        (keep / f"{seed}.json").write_text(json.dumps(truth))
        cv2.imwrite(str(keep / f"{seed}-judged.jpg"), overlay(picture, truth, first), [cv2.IMWRITE_JPEG_QUALITY, 85])
    slim = lambda r: r and {k: v for k, v in r.items() if k not in ("motion", "net", "holes")}
    return dict(seed=seed, tags=truth["tags"], first=slim(first), second=slim(second))


def groups(tags):
    yield "care", tags["care"]
    yield "ground", tags["ground"]
    yield "ground beside tape", {"equal": "within 10 L*", "near": "10 to 25 L*", "far": "over 25 L*"}[tags["contrast"]]
    yield "light", tags["light"]
    yield "shape", tags["shape"]
    yield "shape with", (
        "darts under 16 mm"
        if tags["narrow_darts"]
        else "relief cuts" if tags["slits"] + tags["inked_reliefs"] else "holes" if tags["holes"] else "none of these"
    )
    yield "net line", tags["net"]
    yield "ink", f"arrow {tags['arrow']}"
    yield "pen", "under 1 mm" if tags["pen_mm"] < 1 else "1 to 2 mm" if tags["pen_mm"] < 2 else "over 2 mm"
    yield "tape", tags["tape"]
    yield "camera tilt", "under 12°" if tags["tilt"] < 12 else "12° to 22°" if tags["tilt"] < 22 else "over 22°"
    yield "mm a pixel", "under 0.25" if tags["mm_a_pixel"] < 0.25 else "0.25 to 0.4" if tags["mm_a_pixel"] < 0.4 else "over 0.4"
    yield "blur", "under 0.8 px" if tags["blur_px"] < 0.8 else "over 0.8 px"


def table(results, out=sys.stdout):
    """One row a group: photos, right, said, silent, refusals, and right with a hint."""
    rows = {}
    for r in results:
        for g in [("all", ""), *groups(r["tags"])]:
            rows.setdefault(g, []).append(r)
    hinted = any(r["second"] for r in results)
    head = [
        "",
        "",
        "photos",
        "right",
        "of these with doubts",
        "wrong, said",
        "wrong, silent",
        "refused, true cause",
        "refused, wrong cause",
        "crash",
    ] + (["right with a hint"] if hinted else [])
    print("| " + " | ".join(head) + " |\n|" + "---|" * len(head), file=out)
    order = list(dict.fromkeys(g for g, _ in rows))
    for group in order:
        for (g, name), rs in sorted(((k, v) for k, v in rows.items() if k[0] == group), key=lambda kv: kv[0][1]):
            n = lambda *v: sum(r["first"]["verdict"] in v for r in rs)
            cells = [g, name, len(rs), n(RIGHT, RIGHT_DOUBT), n(RIGHT_DOUBT), n(SAID), n(SILENT), n(TRUE_CAUSE), n(WRONG_CAUSE), n(CRASH)]
            if hinted:
                cells.append(sum((r["second"] or r["first"])["verdict"] in (RIGHT, RIGHT_DOUBT) for r in rs))
            print("| " + " | ".join(map(str, cells)) + " |", file=out)


def badness(r):
    return {CRASH: 5000, SILENT: 4000, SAID: 2000, WRONG_CAUSE: 1000, TRUE_CAUSE: 500}.get(r["first"]["verdict"], 0) + min(
        r["first"]["figures"].get("worst", 0), 900
    )


def judge(a):
    if a.keep:
        a.keep.mkdir(parents=True, exist_ok=True)
    helped = subprocess.run([a.warpwise, "trace", "photo", "--help"], capture_output=True, text=True).stdout
    hints = "--at " in helped and not a.no_hint
    tasks = [(a.warpwise, s, a.megapixels, hints, a.keep and str(a.keep)) for s in range(a.first, a.first + a.count)]
    results = []

    def took(r):
        results.append(r)
        print(
            f"{r['seed']}: {r['first']['verdict']}"
            + (f" ({r['first']['why']})" if r["first"]["why"] else "")
            + (f" -> {r['second']['verdict']}" if r["second"] else ""),
            flush=True,
        )
        if a.results:
            with a.results.open("a") as f:
                f.write(json.dumps(r) + "\n")

    if a.jobs == 1:
        for t in tasks:
            took(one(t))
    else:
        with ProcessPoolExecutor(a.jobs) as pool:
            for r in pool.map(one, tasks):
                took(r)
    report(results, hints, a.keep)
    sys.exit(1 if any(r["first"]["verdict"] in (SILENT, CRASH) for r in results) else 0)


def report(results, hints, keep):
    print()
    table(results)
    print()
    for care in ("careful", "people"):
        rs = [r for r in results if r["tags"]["care"] == care]
        if rs:
            share = lambda n: f"{100 * n / len(rs):.0f} %"
            count = lambda *v: sum(r["first"]["verdict"] in v for r in rs)
            refused = count(TRUE_CAUSE, WRONG_CAUSE)
            print(
                f"{care}: {len(rs)} photos, right {share(count(RIGHT, RIGHT_DOUBT))}, "
                + (
                    f"with a hint {share(sum((r['second'] or r['first'])['verdict'] in (RIGHT, RIGHT_DOUBT) for r in rs))}, "
                    if hints
                    else "no hint known, "
                )
                + f"wrong in silence {share(count(SILENT))}, refused {share(refused)}"
                + (f", of these with the true cause {100 * count(TRUE_CAUSE) / refused:.0f} %" if refused else "")
            )
    good = [r["first"] for r in results if r["first"]["verdict"] in (RIGHT, RIGHT_DOUBT) and r["first"]["figures"]]
    if good:
        near = [g["figures"]["p95"] for g in good]
        print(f"of those right: 95 % of the boundary within {np.median(near):.2f} mm in the middle, {max(near):.2f} mm at most")
    seconds = [r["first"]["seconds"] for r in results]
    print(f"seconds a photo: {np.median(seconds):.1f} in the middle, {max(seconds):.1f} at most")
    print("\nthe worst ten:")
    for r in sorted(results, key=badness, reverse=True)[:10]:
        t = r["tags"]
        about = ", ".join((t["care"], t["ground"], t["light"], t["shape"], t["tape"], "net " + t["net"]))
        where = f" {keep / (str(r['seed']) + '-judged.jpg')}" if keep else ""
        print(f"  {r['seed']}: {r['first']['verdict']}: {r['first']['why'][:160]} [{about}]{where}")


def again(a):
    results = [json.loads(line) for line in a.file.read_text().splitlines()]
    report(results, any(r["second"] for r in results), a.keep)


def render(a):
    jpeg, picture, truth = scene.build(a.seed, a.megapixels)
    a.out.mkdir(parents=True, exist_ok=True)
    (a.out / f"{a.seed}.jpg").write_bytes(jpeg)
    (a.out / f"{a.seed}.json").write_text(json.dumps(truth))
    if a.overlay:
        cv2.imwrite(str(a.out / f"{a.seed}-truth.png"), overlay(picture, truth))
    print(json.dumps(truth["tags"]))


def sheet(a):
    tiles = []
    for seed in range(a.first, a.first + a.count):
        _, picture, truth = scene.build(seed, a.megapixels)
        k = a.size / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
        tile = np.zeros((a.size, a.size, 3), np.uint8)
        tile[: small.shape[0], : small.shape[1]] = small[..., ::-1]
        t = truth["tags"]
        cv2.putText(
            tile,
            f"{seed} {t['ground']} {t['light']} {t['shape']} {t['net']}",
            (4, a.size - 6),
            cv2.FONT_HERSHEY_SIMPLEX,
            0.4,
            (255, 255, 255),
            1,
            cv2.LINE_AA,
        )
        tiles.append(tile)
    while len(tiles) % a.columns:
        tiles.append(np.zeros_like(tiles[0]))
    cv2.imwrite(str(a.out), np.vstack([np.hstack(tiles[i : i + a.columns]) for i in range(0, len(tiles), a.columns)]))


def main():
    parser = argparse.ArgumentParser(prog="judge_photos", description=__doc__)
    commands = parser.add_subparsers(required=True)
    p = commands.add_parser("render", help="one photo and its truth")
    p.add_argument("seed", type=int)
    p.add_argument("--out", type=Path, default=Path("."))
    p.add_argument("--overlay", action="store_true", help="also a picture of the truth over the photo")
    p.set_defaults(run=render)
    q = commands.add_parser("sheet", help="many photos as thumbnails (PNG)")
    q.add_argument("out", type=Path)
    q.add_argument("--first", type=int, default=0)
    q.add_argument("--count", type=int, default=12)
    q.add_argument("--columns", type=int, default=4)
    q.add_argument("--size", type=int, default=420)
    q.set_defaults(run=sheet)
    j = commands.add_parser("judge", help="traces photos and judges the answers")
    j.add_argument("--warpwise", required=True)
    j.add_argument("--first", type=int, default=5000)
    j.add_argument("--count", type=int, default=40)
    j.add_argument("--jobs", type=int, default=1)
    j.add_argument("--keep", type=Path, help="folder for photos, truths and pictures of what was traced (red) over the truth (green)")
    j.add_argument("--results", type=Path, help="a file that one JSON line a photo is added to")
    j.add_argument("--no-hint", action="store_true", help="no second try with --at")
    j.set_defaults(run=judge)
    t = commands.add_parser("table", help="the table and the worst ten again, from a file of --results")
    t.add_argument("file", type=Path)
    t.add_argument("--keep", type=Path)
    t.set_defaults(run=again)
    for c in (p, q, j):
        c.add_argument("--megapixels", type=float, help="of every photo, instead of what its phone has")
    a = parser.parse_args()
    a.run(a)


if __name__ == "__main__":
    main()
