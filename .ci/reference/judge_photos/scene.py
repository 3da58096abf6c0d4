"""One photo from one seed, and its truth."""

import io

import numpy as np
from PIL import Image
from shapely import affinity, maximum_inscribed_circle
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import unary_union

import card
import ground
import ink
import light
import shape
import skin
import thing
from camera import Camera
from canvas import Canvas
from noise import Noise, lightness, linear, luminance, luminance_of

STREAM = 20817


def span(g):
    return np.array(g.exterior.coords)


def inks(rng, tape):
    """A pen whose ink is seen on the tape."""
    dark = lightness(float(luminance(tape))) < 38
    pens = (
        [("white", [235, 235, 230]), ("silver", [190, 195, 200])]
        if dark
        else [("black", [22, 22, 26]), ("black", [40, 38, 40]), ("blue", [30, 45, 130]), ("red", [170, 25, 30])]
    )
    while True:
        name, rgb = pens[rng.integers(len(pens))]
        if abs(lightness(float(luminance(linear(rgb)))) - lightness(float(luminance(tape)))) > 24:
            return name, linear(rgb)
        if all(abs(lightness(float(luminance(linear(c)))) - lightness(float(luminance(tape)))) <= 24 for _, c in pens):
            return "black", linear([10, 10, 12])


def longest_chord(p, rng, least, ends):
    """Tail and head for an arrow that lies inside, clear of what is taken."""
    x0, y0, x1, y1 = p.bounds
    best = None
    for _ in range(150):
        c = rng.uniform((x0, y0), (x1, y1))
        a, l = rng.uniform(0, 2 * np.pi), rng.uniform(least, max(least * 1.2, 0.45 * max(x1 - x0, y1 - y0)))
        d = np.array([np.cos(a), np.sin(a)]) * l / 2
        line = LineString([c - d, c + d])
        if p.contains(line.buffer(8, quad_segs=2)):
            if best is None or line.length > best.length:
                best = line
            if ends and best.length > 1.4 * least:
                break
    return None if best is None else np.array(best.coords)


def write_on(s, sk, net, careful, rng, width):
    """Ink: strokes with widths, filled polygons, and the arrow; what is truth and what only clutter."""
    p = s["polygon"]
    strokes, fills, about = [], [], {}
    blocked = unary_union(
        [Polygon(p.exterior).exterior.buffer(6), *[LineString([r[0], r[1]]).buffer(9) for r in s["reliefs"]], *[h.buffer(7) for h in s["holes"]]]
    )
    free = p.difference(blocked)
    chord = None
    for least in (70, 48, 41):
        chord = longest_chord(free, rng, least, not careful)
        if chord is not None:
            break
    if chord is None:
        return None
    lines, solid, kind = ink.arrow(rng, *chord, width, careful)
    strokes += [(ink.wander(l, rng, 0.0 if len(l) > 2 else 0.15), width) if kind != "bent" or i else (l, width) for i, l in enumerate(lines)]
    fills += solid
    around_arrow = LineString(chord).buffer(22)
    about.update(arrow=chord, arrow_kind=kind)
    gaps, doubled = [], 0
    if net == "ink":
        w = width * rng.uniform(0.8, 1.2)
        about["line_width"] = w
        for ring in [p.exterior, *p.interiors]:
            n = max(80, int(ring.length / 1.0))
            pts = np.array(ring.coords)[:-1]
            at = np.concatenate([[0], np.cumsum(np.hypot(*(np.roll(pts, -1, 0) - pts).T))])
            ring_pts = np.concatenate([pts, pts[:1]])
            sub = lambda a, b: np.array(
                [
                    [np.interp(t % ring.length, at, ring_pts[:, k]) for k in (0, 1)]
                    for t in np.unique(
                        np.concatenate(
                            [
                                np.linspace(a, b, max(2, int((b - a) / 0.8))),
                                at[(at > a) & (at < b)],
                                at[(at + ring.length > a) & (at + ring.length < b)] + ring.length,
                            ]
                        )
                    )
                ]
            )
            holes_in = [] if careful or rng.random() < 0.5 else list(np.sort(rng.uniform(0, ring.length, rng.integers(1, 4))))
            widths = [rng.uniform(1, 6) for _ in holes_in]
            if not holes_in or ring is not p.exterior:
                start = rng.uniform(0, ring.length)
                strokes.append((sub(start, start + ring.length), w))
                if rng.random() < 0.6:
                    # Start and stop run past each other, side by side.
                    extra = sub(start - rng.uniform(3, 12), start + rng.uniform(3, 12))
                    strokes.append((extra + rng.normal(0, 0.3, 2), w))
                    doubled += 1
            else:
                for i, h in enumerate(holes_in):
                    nxt = holes_in[(i + 1) % len(holes_in)] + (ring.length if i + 1 == len(holes_in) else 0)
                    if nxt - h > widths[i] + 8:
                        strokes.append((sub(h + widths[i] / 2, nxt - widths[(i + 1) % len(holes_in)] / 2), w))
                gaps += [np.array(ring.interpolate(h).coords[0]) for h in holes_in]
            if not careful and rng.random() < 0.4:
                a = rng.uniform(0, ring.length)
                l = sub(a, a + min(rng.uniform(20, 90), 0.2 * ring.length))
                d = np.gradient(l, axis=0)
                d /= np.maximum(np.hypot(*d.T), 1e-9)[:, None]
                strokes.append((l + np.stack([-d[:, 1], d[:, 0]], 1) * (np.sin(np.linspace(0, np.pi, len(l))) * rng.uniform(-0.5, 0.5))[:, None], w))
                doubled += 1
        if not careful and rng.random() < 0.35:
            q = np.array(p.exterior.simplify(0.5).coords)[:-1]
            for i in range(len(q)):
                a, b, c = q[i - 1], q[i], q[(i + 1) % len(q)]
                u, v = (b - a) / np.hypot(*(b - a)), (c - b) / np.hypot(*(c - b))
                if u @ v < 0.75:
                    strokes.append((np.array([b - u * 2, b + u * rng.uniform(1, 5)]), w))
    for r in s["reliefs"]:
        if r_inked(s, r):
            strokes.append((ink.wander([r[0], r[1]], rng, 0.2), width * 0.9))
    notes = 0
    if not careful and rng.random() < 0.2:
        # A short arrow to the edge, as one writes "cut here": only a mark.
        here, n = shape.inward(Polygon(p.exterior), rng.uniform(0, p.exterior.length))
        shaft = np.array([here + n * rng.uniform(24, 34), here + n * 7])
        if (
            p.contains(LineString(shaft).buffer(5))
            and all(LineString(shaft).distance(LineString(r)) > 9 for r in s["reliefs"])
            and LineString(shaft).distance(around_arrow) > 4
        ):
            side = np.array([-n[1], n[0]])
            strokes += [(shaft, width * 0.8), (np.array([shaft[1] + n * 5 + side * 3, shaft[1], shaft[1] + n * 5 - side * 3]), width * 0.8)]
            free = free.difference(LineString(shaft).buffer(8))
            notes += 1
    ticks = 0
    for _ in range(rng.integers(0, 4 if careful else 9)):
        here, n = shape.inward(Polygon(p.exterior), rng.uniform(0, p.exterior.length))
        a, b = here - n * rng.uniform(2, 6), here + n * rng.uniform(4, 9)
        if all(LineString([a, b]).distance(LineString(r)) > 8 for r in s["reliefs"]) and all(
            Point(here).distance(Point(d["tip"])) > 15 for d in s["darts"]
        ):
            strokes.append((np.array([a, b]), width * 0.8))
            ticks += 1
    words = 0
    for _ in range(rng.integers(0, 3 if careful else 5)):
        x0, y0, x1, y1 = p.bounds
        text, h, a = ink.WORDS[rng.integers(len(ink.WORDS))], rng.uniform(8, 20), rng.uniform(-0.4, 0.4) + rng.choice([0, np.pi / 2, np.pi])
        at = rng.uniform((x0, y0), (x1, y1))
        area = affinity.rotate(
            box(at[0] - len(text) * h * 0.5, at[1] - h * 0.75, at[0] + len(text) * h * 0.5, at[1] + h * 0.75), np.degrees(a), origin=tuple(at)
        )
        if free.difference(around_arrow).contains(area):
            strokes += [(l, width * 0.7) for l in ink.write(text, at, h, a, rng, 0.25)]
            free = free.difference(area)
            words += 1
            if rng.random() < 0.25:
                u = np.array([np.cos(a), np.sin(a)])
                v = np.array([-u[1], u[0]])
                strokes.append((np.array([at - u * len(text) * h * 0.4 - v * h * 0.7, at + u * len(text) * h * 0.4 - v * h * 0.68]), width * 0.7))
    about.update(gaps=len(gaps), doubled=doubled, ticks=ticks, words=words, notes=notes)
    return strokes, fills, about


def r_inked(s, r):
    return s["inked_reliefs"][[r is q for q in s["reliefs"]].index(True)]


def lay_cards(rng, count, sk, careful, gap):
    """Cards around the skin: (number, move) with polygons of their paper; shadows of overlap are kept clear of."""
    out, taken = [], [sk]
    first = rng.uniform(0, 2 * np.pi)
    numbers = rng.permutation(6 if rng.random() < 0.7 else 25)[:count] + 1
    for i in range(count):
        best = None
        for _ in range(40):
            a = first + 2 * np.pi * i / count + rng.normal(0, 0.25)
            turn = rng.choice([0, np.pi / 2]) + rng.normal(0, 0.12) + (np.pi if rng.random() < 0.2 else 0)
            if not careful:
                turn = rng.uniform(0, 2 * np.pi)
            paper = affinity.rotate(card.PAPER, np.degrees(turn), origin=(0, 0))
            lo, hi = 0.0, 1500.0
            for _ in range(14):
                m = (lo + hi) / 2
                here = affinity.translate(paper, m * np.cos(a), m * np.sin(a))
                lo, hi = (m, hi) if any(here.distance(t) < gap for t in taken) else (lo, m)
            at = np.array([np.cos(a), np.sin(a)]) * hi
            if best is None or hi < best[0]:
                best = (hi, at, turn, affinity.translate(paper, *at))
            if rng.random() < 0.3:
                break
        out.append((int(numbers[i]), best[1], best[2], best[3]))
        taken.append(best[3])
    return out


def build(seed, megapixels=None):
    """The photo as JPEG bytes, the picture (RGB, as shown), and the truth."""
    rng = np.random.default_rng([STREAM, seed])
    careful = seed % 2 == 0
    while True:
        net = "edge" if rng.random() < 0.6 else "ink"
        s = shape.make(rng, careful, net)
        s["inked_reliefs"] = [net == "ink" or bool(rng.random() < 0.5) for _ in s["reliefs"]]
        sk = skin.make(rng, s, careful, net)
        width = float(np.exp(rng.uniform(np.log(0.7), np.log(2.5)))) if careful else float(np.exp(rng.uniform(np.log(0.5), np.log(4.0))))
        written = write_on(s, sk, net, careful, rng, width)
        if written is not None:
            break
    strokes, fills, about = written
    pen, pen_colour = inks(rng, sk["colour"])
    p = s["polygon"]
    body = Polygon(sk["outline"].exterior)

    # Cards and camera.
    bb = sk["outline"].bounds
    reach = max(bb[2] - bb[0], bb[3] - bb[1])
    count = (4 if reach > 400 else int(rng.integers(2, 5))) if careful else int(rng.choice([1, 2, 2, 3, 3, 4, 4]))
    touching = not careful and rng.random() < 0.06
    cards = lay_cards(rng, count, body, careful, rng.uniform(8, 40) if careful else (0.05 if touching else rng.uniform(4, 50)))
    covering = not careful and rng.random() < 0.03
    if covering:
        n, at, turn, paper = cards[0]
        inner = at * (1 - 18 / np.hypot(*at))
        for _ in range(40):
            moved = affinity.translate(affinity.rotate(card.PAPER, np.degrees(turn), origin=(0, 0)), *inner)
            if moved.intersection(body).area > 30:
                break
            inner = inner * 0.97
        cards[0] = (n, inner, turn, moved)
    card_scale = 1 + rng.normal(0, 0.002 if careful else 0.005)
    card_width = round(180 * card_scale, 1)
    bent = int(rng.integers(count)) if not careful and rng.random() < 0.15 else -1
    pose = "free" if rng.random() < 0.15 else "fits"
    landscape = rng.random() < 0.7
    tilt = np.radians(rng.uniform(2, 16) if careful else rng.uniform(5, 35))
    ratio = rng.choice([4 / 3, 4 / 3, 16 / 9])
    everything = np.concatenate([span(body.convex_hull), *[span(c[3]) for c in cards]])
    must = 0.45 if careful else 0.55
    mp = float(rng.choice([3, 4, 4, 5, 6, 8, 12] if careful else [2, 3, 3, 4, 4, 5, 8, 12]))
    mp = megapixels or mp
    lens = dict(focal=rng.uniform(0.68, 1.0), k1=rng.normal(0, 0.03), k2=rng.normal(0, 0.012), p1=rng.normal(0, 1.5e-4), p2=rng.normal(0, 1.5e-4))
    heading, roll = rng.uniform(0, 2 * np.pi), rng.choice([0, 0, 0, 0.5, 1, 1.5]) * np.pi + rng.normal(0, 0.06 if careful else 0.2)
    margin, off = rng.uniform(0.03, 0.12) if careful else rng.uniform(0.01, 0.2), rng.normal(0, 0.004, 2)
    while True:
        long = int(np.sqrt(mp * 1e6 * ratio) // 8 * 8)
        short = int(long / ratio // 8 * 8)
        tries = []
        for wide in (landscape, not landscape) if pose == "fits" else (landscape,):
            w, h = (long, short) if wide else (short, long)
            camera = Camera(w, h, lens["focal"] * long, lens["k1"], lens["k2"], lens["p1"], lens["p2"], tilt, heading, roll, off * long)
            camera.aim(everything, margin)
            tries.append((camera.mm_a_pixel(np.zeros(2)), w, h, camera))
        # Most hold the phone so that the work fills the frame.
        mm, w, h, camera = min(tries, key=lambda t: t[0])
        if mm <= must or megapixels or mp > 12:
            break
        mp *= 1.25

    # Ground, its lightness beside the tape's.
    noise = Noise(rng)
    kind = light.CAREFUL[rng.integers(len(light.CAREFUL))] if careful else light.PEOPLE[rng.integers(len(light.PEOPLE))]
    tape_l = lightness(float(luminance(sk["colour"])))
    while True:
        name = ground.CAREFUL[rng.integers(len(ground.CAREFUL))] if careful else list(ground.GROUNDS)[rng.integers(len(ground.GROUNDS))]
        lo, hi = ground.GROUNDS[name][1:]
        if careful:
            l = rng.uniform(lo, hi)
            if abs(l - tape_l) >= 25:
                break
        else:
            l = float(np.clip(tape_l + rng.uniform(-6, 6), lo, hi)) if rng.random() < 0.25 else rng.uniform(lo, hi)
            break
    x, y = camera.plane()
    middle = (everything.min(0) + everything.max(0)) / 2
    albedo = ground.draw(name, x, y, rng, noise, luminance_of(l))
    canvas = Canvas(camera, albedo, x, y, light.sun_of(kind, rng))

    # Other templates, things.
    seen = lambda g, m: (lambda q: ((q > m) & (q < np.array([w, h]) - m)).all(1).mean())(camera.project(span(g.segmentize(5))))
    taken = [body.buffer(8), *[c[3].buffer(6) for c in cards]]
    others, around = [], everything.max(0) - everything.min(0)
    spot = lambda far: middle + rng.uniform(-far, far, 2) * around
    for _ in range(int(rng.choice([0, 0, 0, 1] if careful else [0, 0, 1, 1, 2]))):
        s2 = shape.make(rng, careful, "edge")
        k = rng.uniform(0.35, 0.8) * reach / s2["size"]
        for _ in range(25):
            q = affinity.translate(
                affinity.rotate(affinity.scale(s2["polygon"], k, k, origin=(0, 0)), rng.uniform(0, 360), origin=(0, 0)), *spot(1.0)
            )
            inside = seen(Polygon(q.exterior), 0)
            whole = inside == 1 and seen(Polygon(q.exterior), 15) == 1
            if (whole or 0.15 < inside < 0.92) and not any(q.intersects(t) for t in taken) and q.area > 3000:
                o = skin.make(rng, dict(polygon=q), careful, "edge")
                if rng.random() < 0.6:
                    o["colour"], o["tape"] = sk["colour"] * rng.uniform(0.95, 1.05), sk["tape"]
                skin.paint(canvas, o, [], rng, noise)
                if whole and rng.random() < 0.7:
                    chord = longest_chord(q.buffer(-4), rng, 42, True)
                    if chord is not None:
                        lines, _, _ = ink.arrow(rng, *chord, width, True)
                        canvas.paint(unary_union([ink.ribbon(t, width) for t in lines]).intersection(q), pen_colour, 0.85)
                others.append(dict(polygon=q, whole=bool(whole)))
                taken.append(Polygon(q.exterior).buffer(8))
                break
    slits = [
        ink.ribbon([r[0] - (r[1] - r[0]) / np.hypot(*(r[1] - r[0])) * 3, r[1]], rng.uniform(0.3, 1.1))
        for r, i in zip(s["reliefs"], s["inked_reliefs"])
        if not i
    ]
    skin.paint(canvas, sk, slits, rng, noise)
    cloth = sk["outline"]
    for g in slits:
        cloth = cloth.difference(g)
    lines = unary_union([*[ink.ribbon(l, wd * rng.uniform(0.9, 1.1)) for l, wd in strokes], *fills]).intersection(cloth)
    faint = rng.uniform(0.75, 0.95) if careful else rng.uniform(0.5, 0.95)
    broken = 0.0 if careful else rng.uniform(0, 0.35)

    found = canvas.window(lines)
    if found:
        at, share = found
        a = share * np.clip(faint - broken * np.clip(noise(canvas.x[at], canvas.y[at], 0.4, 0.4) - 0.6, 0, 2), 0.25, 1)
        canvas.albedo[at] += (pen_colour - canvas.albedo[at]) * a[..., None]

    paper_tone = linear([[248, 248, 246], [240, 236, 225], [235, 238, 244]][rng.integers(3)])
    for i, (number, at, turn, paper) in enumerate(cards):
        c, sn = np.cos(turn), np.sin(turn)
        rot = np.array([[c, sn], [-sn, c]]) * card_scale
        move = lambda g: affinity.affine_transform(g, [rot[0, 0], rot[1, 0], rot[0, 1], rot[1, 1], at[0], at[1]])
        axis, bow = np.array([c, sn]), rng.uniform(0.8, 2.5)
        lift = (lambda q, at=at, axis=axis, bow=bow: bow * np.clip(1 - (((q - at) @ axis) / 95) ** 2, 0, 1)) if i == bent else None
        canvas.cast(paper, 0.3 if lift is None else 2.0, contact=0.3)
        canvas.lit(paper, lift)
        canvas.paint(paper, lambda x, y: paper_tone * (1 + 0.012 * noise(x, y, 1.0, 0.8))[..., None], lift=lift, gloss=0.01)
        drawn, thin = card.drawing(number)
        toner = linear([[20, 20, 22], [38, 36, 38]][i % 2])
        for g, black in drawn:
            canvas.paint(move(g), toner if black else paper_tone, lift=lift)
        canvas.paint(unary_union([move(g) for g in thin]), toner, 0.9, lift=lift)
    things = []
    for _ in range(int(rng.integers(0, 2) if careful else rng.integers(0, 6))):
        what = list(thing.SMALL)[rng.integers(len(thing.SMALL))]
        parts = thing.SMALL[what](rng)
        outline = unary_union([g for g, *_ in parts]).convex_hull
        for _ in range(20):
            at, angle = spot(0.9), rng.uniform(0, 2 * np.pi)
            where = affinity.translate(affinity.rotate(outline, np.degrees(angle), origin=(0, 0)), *at)
            if seen(where, 0) > 0.25 and not any(where.intersects(t) for t in taken):
                # Nothing tall may stand between the lens and what must be seen.
                tall = max(t for *_, t in parts)
                lean = (camera.place[:2] - at) / camera.place[2] * -tall
                if tall > 20 and any(affinity.translate(where, *lean).intersects(t) for t in taken):
                    continue
                thing.paint(canvas, thing.placed(parts, at, angle), rng, noise)
                taken.append(where)
                things.append(what)
                break
    if not careful and rng.random() < 0.15:
        what = list(thing.EDGE)[rng.integers(2)]
        parts = thing.EDGE[what](rng)
        outline = unary_union([g for g, *_ in parts]).convex_hull
        for _ in range(30):
            at, angle = spot(1.0), rng.uniform(0, 2 * np.pi)
            where = affinity.translate(affinity.rotate(outline, np.degrees(angle), origin=(0, 0)), *at)
            if 0.1 < seen(where, 0) < 0.75 and not any(where.intersects(t) for t in taken):
                thing.paint(canvas, thing.placed(parts, at, angle), rng, noise)
                things.append(what)
                break

    shot = {}
    picture = light.photograph(light.light_up(canvas, kind, rng, noise, middle, float(np.hypot(*around)) / 2), rng, careful, shot)
    quality = int(rng.integers(80, 96) if careful else rng.integers(60, 96))
    turn = int(rng.choice([1, 1, 1, 3, 6, 8])) if careful or rng.random() < 0.95 else 2
    stored = {1: lambda a: a, 2: lambda a: a[:, ::-1], 3: lambda a: np.rot90(a, 2), 6: lambda a: np.rot90(a, 1), 8: lambda a: np.rot90(a, -1)}[turn](
        picture
    )
    exif = Image.Exif()
    exif[0x0112] = turn
    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(stored)).save(buffer, "JPEG", quality=quality, subsampling=2 if quality < 90 else 0, exif=exif.tobytes())
    inner = maximum_inscribed_circle(p, 1.0)
    hint = camera.project(np.array(inner.coords)[:1])[0]
    contrast = abs(l - tape_l)
    ring = lambda r: np.round(np.array(r.coords)[:-1], 4).tolist()
    covered = unary_union([c[3] for c in cards]).intersection(p)
    truth = dict(
        seed=seed,
        careful=careful,
        net=net,
        card_width=card_width,
        outer=ring(p.exterior),
        holes=[ring(r) for r in p.interiors],
        darts=[dict(tip=d["tip"].tolist(), mouth=d["mouth"], depth=d["depth"]) for d in s["darts"]],
        reliefs=[r.tolist() for r in s["reliefs"]],
        arrow=about["arrow"].tolist(),
        at=[round(float(v), 1) for v in hint],
        others=[dict(whole=o["whole"], outer=ring(o["polygon"].exterior), holes=[ring(r) for r in o["polygon"].interiors]) for o in others],
        covered=bool(covered.area > 5),
        view=dict(
            place=camera.place.tolist(),
            turn=camera.turn.tolist(),
            focal=camera.focal,
            centre=camera.centre.tolist(),
            width=w,
            height=h,
            k1=camera.k1,
            k2=camera.k2,
            p1=camera.p1,
            p2=camera.p2,
        ),
        tags=dict(
            care="careful" if careful else "people",
            ground=name,
            contrast="equal" if contrast < 10 else "near" if contrast < 25 else "far",
            light=kind,
            shape=s["name"],
            tape=sk["tape"],
            see_through=bool(sk["opacity"] < 0.85),
            torn=bool(s["torn"]),
            lifted=bool(sk["lifted"]),
            darts=len(s["darts"]),
            narrow_darts=sum(d["mouth"] < 16 for d in s["darts"]),
            holes=len(p.interiors),
            slits=len(slits),
            inked_reliefs=sum(s["inked_reliefs"]),
            net=net,
            pen=pen,
            pen_mm=round(width, 2),
            arrow=about["arrow_kind"],
            gaps=about["gaps"],
            doubled=about["doubled"],
            ticks=about["ticks"],
            words=about["words"],
            notes=about["notes"],
            faint=bool(faint - broken < 0.5),
            others=len(others),
            whole_others=sum(o["whole"] for o in others),
            things=things,
            cards=count,
            bent_card=bent >= 0,
            touching=bool(touching),
            covered=bool(covered.area > 5),
            tilt=round(float(np.degrees(tilt)), 1),
            mm_a_pixel=round(float(mm), 3),
            megapixels=round(w * h / 1e6, 1),
            quality=quality,
            exif=turn,
            ground_l=round(float(l), 1),
            tape_l=round(float(tape_l), 1),
            **shot
        ),
    )
    return buffer.getvalue(), picture, truth
