"""Holds what the tracer answers against the truth, and names the verdict."""

import json
import math
import os
import re
import subprocess
import time

import numpy as np
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Polygon

NEAR, WORST, AREA, ARROW, CUT = 0.7, 1.5, 0.5, 0.5, 3.0  # mm at 95 %, mm, %, degrees, mm at either end of a relief cut
STEP = 0.4  # mm between points of a boundary
REACH = 20.0  # mm about a place that a warning names

RIGHT, RIGHT_DOUBT = "right", "right with doubts said"
SAID, SILENT = "wrong but said", "wrong in silence"
TRUE_CAUSE, WRONG_CAUSE, CRASH = "refused with the true cause", "refused with a wrong cause", "crash"

# What a refusal says → whether the scene holds that cause. The first that matches a fault is taken.
CAUSES = [
    ("gap", r"narrow gap|slit or", lambda t: t["narrow_darts"] or t["slits"] or t["darts"]),
    ("net line open", r"closed inked line|net line.*(open|gap|not closed|stops)|line is not closed", lambda t: t["net"] == "ink" and t["gaps"]),
    (
        "net line faint",
        r"(net )?line.*(faint|pale|broken|crosses itself)|ink.*(faint|pale|hardly)",
        lambda t: t["net"] == "ink" and (t["faint"] or t["gaps"] or t["doubled"] or t["pen_mm"] < 0.8),
    ),
    ("cut off", r"cut off by the frame|outside the photo|beyond the frame|not all in the (photo|picture)", lambda t: False),
    ("card over the skin", r"(touch|over|cover)\w* (a|the) card|card.*(touch|over the|covers|lies on)", lambda t: t["touching"] or t["covered"]),
    ("cards bent", r"cards? .*(bent|not flat|do(es)? not fit|curl)|do not fit together", lambda t: t["bent_card"]),
    ("few cards", r"cards? found lengths|only accurate|more cards|lay four", lambda t: t["cards"] < 3 or t["bent_card"]),
    (
        "cards",
        r"whole card|mark of a card|marks of a card|card.*(hidden|badly lit|few)|find a card|one card",
        lambda t: t["cards"] < 2 or t["light"] in ("dim", "bars", "leaves", "own-shadow", "sun") or t["blur_px"] > 1.3,
    ),
    (
        "shadow",
        r"shadow|sun|bar of light|unevenly lit|light (is|and shade)",
        lambda t: t["light"] in ("sun", "bars", "leaves", "own-shadow") or t["lifted"],
    ),
    (
        "alike",
        r"alike|like the (tape|ground|skin)|same shade|as light as|as dark as|contrast|lighter nor darker|cannot be told|hardly differ"
        r"|no clear edge|tell.*from",
        lambda t: t["contrast"] != "far" or t["see_through"],
    ),
    (
        "pattern",
        r"pattern|grain|grid|printed|texture|planks",
        lambda t: t["ground"] in ("mat", "planks", "plywood", "photograph", "newspaper", "floor", "vacuum", "carpet", "concrete", "dust-sheet"),
    ),
    ("blur", r"blur|sharp|focus|shake", lambda t: t["blur_px"] > 1.0),
    ("dark", r"too dark|more light", lambda t: t["light"] in ("dim", "own-shadow")),
    ("tilt", r"tilt|squarely", lambda t: t["tilt"] > 22),
    ("too far", r"pixel of the photo spans|come closer|too far|too small", lambda t: t["mm_a_pixel"] > 0.35),
    ("arrows", r"there are \d+ arrows|two arrows|several arrows", lambda t: False),
    ("several", r"several templates|which (of|template|one)|more than one template", lambda t: t["others"] > 0),
    ("see-through", r"see.?through|shows? through", lambda t: t["see_through"]),
    ("mirrored", r"mirrored|flipped", lambda t: False),
]
GENERAL = r"blurred|tilted|pixel of the photo spans|do not fit|card|uncertain|doubt"


def points(ring, step=STEP):
    l = LineString([*ring, ring[0]])
    n = max(24, int(l.length / step))
    p = np.array(l.coords)
    at = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    s = np.linspace(0, at[-1], n, endpoint=False)
    return np.stack([np.interp(s, at, p[:, 0]), np.interp(s, at, p[:, 1])], 1)


def apart(p, rings):
    """Distance of points from the nearest of closed lines."""
    a = np.concatenate([np.asarray(r, float) for r in rings])
    b = np.concatenate([np.roll(np.asarray(r, float), -1, 0) for r in rings])
    best = np.full(len(p), np.inf)
    for i in range(0, len(p), 400):
        q = p[i : i + 400, None]
        d = b - a
        t = np.clip(((q - a) * d).sum(-1) / np.maximum((d * d).sum(-1), 1e-12), 0, 1)
        best[i : i + 400] = np.hypot(*np.moveaxis(q - a - d * t[..., None], -1, 0)).min(1)
    return best


def fit(traced, truth, angles):
    """Turn and shift that lay traced points on true ones. The worst tenth does not count, so that one bad stretch does not bend the rest."""
    tree, best = cKDTree(truth), None
    along = np.roll(truth, -1, 0) - np.roll(truth, 1, 0)
    normal = np.stack([-along[:, 1], along[:, 0]], 1) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    sample = traced[:: max(1, len(traced) // 1500)]
    turn = lambda a: np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    for angle in angles:
        r = turn(angle)
        t = truth.mean(0) - r @ sample.mean(0)
        for step in range(40):
            moved = sample @ r.T + t
            d, i = tree.query(moved)
            good = d <= np.quantile(d, 0.9)
            a, b = moved[good], truth[i[good]]
            if step < 8:
                u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
                by = vt.T @ np.diag([1, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
                shift = b.mean(0) - by @ a.mean(0)
            else:
                # Along the edge points may slide: only what is off across it counts.
                n = normal[i[good]]
                rows = np.stack([n[:, 1] * a[:, 0] - n[:, 0] * a[:, 1], n[:, 0], n[:, 1]], 1)
                s, *shift = np.linalg.lstsq(rows, ((b - a) * n).sum(1), rcond=None)[0]
                by, shift = turn(np.clip(s, -0.2, 0.2)), np.array(shift)
                if abs(s) < 1e-7 and np.abs(shift).max() < 1e-4:
                    break
            r, t = by @ r, by @ t + shift
        score = np.quantile(tree.query(sample @ r.T + t)[0], 0.85)
        if best is None or score < best[0]:
            best = (score, r, t)
    return best


def lay_on(template, outer, arrow=None):
    truth, traced = points(outer), points(template["net"])
    angles = np.arange(12) * math.tau / 12
    if arrow is not None and template.get("arrow"):
        a, b = np.array(template["arrow"][0]), np.array(template["arrow"][1])
        angles = [*(math.atan2(*(arrow[1] - arrow[0])[::-1]) - math.atan2(*(b - a)[::-1]),), *angles[::3]]
    return fit(traced, truth, angles)


def rings_of(t):
    return [t.get("outer", t["net"]), *t["holes"]]


def compare(template, truth):
    """Faults as (what, places in the traced frame or None), the figures, and the motion."""
    arrow = np.array(truth["arrow"])
    _, r, t = lay_on(template, truth["outer"], arrow)
    move = lambda p: np.asarray(p, float) @ r.T + t
    back = lambda p: (np.asarray(p, float) - t) @ r
    traced, true = [move(g) for g in rings_of(template)], [np.array(g) for g in rings_of(truth)]
    faults, figures = [], {}
    area = lambda rings: Polygon(rings[0]).buffer(0).area - sum(Polygon(g).buffer(0).area for g in rings[1:])
    off = (area(traced) / area(true) - 1) * 100
    figures["area"] = round(off, 3)
    if abs(off) > AREA:
        faults.append((f"area {off:+.2f} %", None))
    if len(traced) != len(true):
        odd = [back(np.mean(a, 0)) for a in traced[1:] if not any(np.hypot(*(np.mean(a, 0) - np.mean(b, 0))) < 5 for b in true[1:])]
        odd += [back(np.mean(b, 0)) for b in true[1:] if not any(np.hypot(*(np.mean(a, 0) - np.mean(b, 0))) < 5 for a in traced[1:])]
        faults.append((f"{len(traced) - 1} holes instead of {len(true) - 1}", odd or None))
    # The last of a dart, where its gap is under 1.5 mm, may be anything.
    tips = [(np.array(d["tip"]), 1.5 * d["depth"] / max(d["mouth"], 0.1)) for d in truth["darts"]]
    bad, p95, worst = [], 0.0, 0.0
    for a, b in ((true, traced), (traced, true)):
        p = np.concatenate([points(g) for g in a])
        p = p[np.all([np.hypot(*(p - c).T) > l for c, l in tips], axis=0)] if tips else p
        d = apart(p, b)
        p95, worst = max(p95, float(np.quantile(d, 0.95))), max(worst, float(d.max()))
        bad.append((p, d))
    figures.update(p95=round(p95, 3), worst=round(worst, 3))
    if p95 > NEAR:
        faults.append((f"{p95:.2f} mm at 95 %", [back(c) for p, d in bad for c in clusters(p[d > NEAR])]))
    if worst > WORST:
        faults.append((f"{worst:.2f} mm at worst", [back(c) for p, d in bad for c in clusters(p[d > WORST])]))
    if not template.get("arrow"):
        faults.append(("no arrow", "arrow"))
    else:
        a, b = move(template["arrow"])
        turn = math.degrees(math.atan2(*(b - a)[::-1]) - math.atan2(*(arrow[1] - arrow[0])[::-1]))
        turn = (turn + 180) % 360 - 180
        figures["arrow"] = round(turn, 3)
        if abs(turn) > ARROW:
            faults.append((f"arrow {turn:+.2f}°", [back(arrow.mean(0))]))
    cuts, missed = [move(c) for c in template["cuts"]], []
    for q in truth["reliefs"]:
        q = np.array(q)
        ends = lambda c: min(max(np.hypot(*(c[0] - q[0])), np.hypot(*(c[-1] - q[1]))), max(np.hypot(*(c[-1] - q[0])), np.hypot(*(c[0] - q[1]))))
        match = min(cuts, key=ends, default=None)
        if match is None or ends(match) > CUT:
            missed.append(back(q.mean(0)))
        else:
            cuts = [c for c in cuts if c is not match]
    if missed:
        faults.append((f"{len(missed)} of {len(truth['reliefs'])} relief cuts missed or off", missed))
    if cuts:
        faults.append((f"{len(cuts)} relief cuts that are none", [back(c.mean(0)) for c in cuts]))
    return faults, figures, (r, t)


def clusters(p, reach=12.0):
    """One place for each run of points."""
    out = []
    for q in p:
        if not any(np.hypot(*(q - c)) < reach for c in out):
            out.append(q)
    return out


def pairs(value):
    """All [x, y] in a JSON value."""
    if isinstance(value, list):
        if len(value) == 2 and all(isinstance(v, (int, float)) for v in value):
            return [value]
        return [p for v in value for p in pairs(v)]
    return [p for v in value.values() for p in pairs(v)] if isinstance(value, dict) else []


def places_in(text):
    """Places that warnings name, \"(x, y) mm\", and how far each speaks for: further if it gives the length of its stretch."""
    out = []
    for line in text.splitlines():
        rest = re.sub(r"\(-?[\d.]+, -?[\d.]+\)( mm)?", "", line)
        length = max([float(v) for v in re.findall(r"([\d.]*\d) mm", rest)], default=0.0)
        for a, b in re.findall(r"\((-?[\d.]+), (-?[\d.]+)\)", line):
            out.append((np.array([float(a), float(b)]), REACH + min(length, 150) / 2))
    return out


def judge_answer(answer, stderr, truth):
    """Verdict on an answer with exit code 0."""
    templates = answer["templates"]
    said = places_in(stderr)
    said += [(np.array(p, float), REACH) for source in (answer, *templates) for k, v in source.items() if k.startswith("doubt") for p in pairs(v)]
    words = stderr + " " + " ".join(map(str, answer.get("warnings", [])))
    if not templates:
        return dict(verdict=SILENT, why="no template", figures={})
    judged = [(compare(t, truth), t) for t in templates]
    (faults, figures, motion), best = min(judged, key=lambda j: (j[0][1]["p95"], abs(j[0][1]["area"])))
    for t in templates:
        if t is best:
            continue
        whole = any(
            o["whole"] and abs(Polygon(t["net"]).buffer(0).area / Polygon(o["outer"]).area - 1) < 0.02 and lay_on(t, o["outer"])[0] < 1.5
            for o in truth["others"]
        )
        if not whole:
            faults.append(("a template that is none", [np.mean(t["net"], 0)]))

    def is_said(fault):
        what, places = fault
        if places == "arrow":
            return "no arrow" in words or "arrow" in words
        if not places:
            # An area off where no stretch is: said with the stretches, or by a word on the whole photo.
            return bool(re.search(GENERAL, words)) or any(p and p != "arrow" for _, p in faults)
        return all(any(np.hypot(*(np.asarray(p) - s)) < reach for s, reach in said) for p in places)

    if not faults:
        verdict = RIGHT_DOUBT if said or re.search(r"doubt|may be", words) else RIGHT
    else:
        verdict = SAID if all(is_said(f) for f in faults) else SILENT
    return dict(
        verdict=verdict,
        why="; ".join(f[0] for f in faults),
        figures=figures,
        templates=len(templates),
        motion=[motion[0].tolist(), motion[1].tolist()],
        net=best["net"],
        holes=best["holes"],
    )


def judge_refusal(stderr, truth):
    """Whether a refusal names something that is in the scene. Each fault begins a line that is not indented."""
    tags = truth["tags"]
    faults = [l for l in stderr.splitlines() if l and not l[0].isspace() and not l.startswith("warning") and not re.match(r"\d+ faults", l)]
    named = []
    for f in faults:
        text = f.split(": ", 1)[-1]
        hit = next(((n, bool(true(tags))) for n, pattern, true in CAUSES if re.search(pattern, text, re.I)), ("unknown", False))
        named.append(hit)
    true = any(ok for _, ok in named)
    return dict(
        verdict=TRUE_CAUSE if true else WRONG_CAUSE,
        why=f"[{', '.join(n for n, _ in named)}] " + " | ".join(f.split(": ", 1)[-1] for f in faults)[:400],
        figures={},
    )


def trace(warpwise, photo, truth, out, *more):
    command = [
        warpwise,
        "trace",
        "photo",
        str(photo),
        "--net",
        truth["net"],
        "--inked",
        "up",
        "--off",
        "mould",
        "--card-width",
        f"{truth['card_width']}",
        "--json",
        "--out",
        str(out),
        *more,
    ]
    began = time.time()
    try:
        run = subprocess.run(
            command, capture_output=True, text=True, timeout=180, stdin=subprocess.DEVNULL, env={**os.environ, "RAYON_NUM_THREADS": "1"}
        )
    except subprocess.TimeoutExpired:
        return dict(verdict=CRASH, why="no answer after 180 s", figures={}, seconds=180.0)
    if run.returncode == 0:
        result = judge_answer(json.loads(run.stdout), run.stderr, truth)
    elif run.returncode == 1:
        result = judge_refusal(run.stderr, truth)
    else:
        result = dict(verdict=CRASH, why=f"exit {run.returncode}: {run.stderr.strip()[-300:]}", figures={})
    result.update(seconds=round(time.time() - began, 2), stderr=run.stderr.strip()[:1500])
    # What is hidden cannot be traced: to say so is right.
    if truth["covered"] and (result["verdict"] == SAID or "card over the skin" in result["why"].split("]")[0]):
        result.update(verdict=RIGHT_DOUBT, why="part of it is under a card, said: " + result["why"])
    return result
