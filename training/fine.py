"""The fine network: scenes at full size, rectified to 0.4 mm a pixel and cut into tiles along the coarse outline; training and judging.

python3 fine.py train OUT [--limit 560] [--steps 12000] [--workers 15]     writes OUT/fine.net
python3 fine.py judge FINE.NET [--first 19500000] [--count 40]
python3 fine.py sheet OUT.png [--first 19500000] [--count 4]               tiles, what the coarse network says, classes

Seeds: 20000000 and up to train on, 19000000 and up to watch the training by, 19500000 and up to judge; none was used for the coarse network.
"""

import argparse
import functools
import math
import mmap
import multiprocessing as mp
import os
import time
from pathlib import Path

for library in ("OMP", "OPENBLAS", "MKL"):  # each process has one core
    os.environ[f"{library}_NUM_THREADS"] = "1"

import cv2
import numpy as np

# The photo is 4.3 megapixels here; set before the modules that paint take it over.
import canvas

canvas.WIDTH, canvas.HEIGHT = 2400, 1800

MM = 0.4  # of the plane that a pixel of a tile spans
SIDE = 192
EACH = 10  # tiles of a scene
SHAPE = (SIDE, SIDE, 6)  # red, green, blue, skin by the coarse network, class, inside of the photo
GROUND, SKIN, INK, GAP = range(4)
LARGEST = 480  # mm: what is larger does not reach MM in such a photo
NARROW = 9  # pixels of a tile: a gap less wide than this is a class of its own
WATCHED, JUDGED, TRAINED = 19_000_000, 19_500_000, 20_000_000
BEGIN = time.time()
COARSE = Path(__file__).parents[1] / "assets/skin.net"


def run(steps, x):
    """The steps of a file of weights, by PyTorch."""
    import torch
    import torch.nn.functional as F

    values = [x]
    for name, numbers, weight, bias in steps:
        if name == "conv":
            source, step, groups, relu = numbers
            w, b = (torch.from_numpy(np.array(v)) for v in (weight, bias))
            y = F.conv2d(values[source], w, b, step, w.shape[2] // 2, groups=groups)
            values.append(F.relu(y) if relu else y)
        elif name == "add":
            values.append(values[numbers[0]] + values[numbers[1]])
        else:
            values.append(F.interpolate(values[numbers[0]], scale_factor=2.0, mode="nearest"))
    return F.pixel_shuffle(values[-1], 2)


@functools.lru_cache(None)
def coarse_steps():
    import skinnet

    return skinnet.read(COARSE.read_bytes())


def coarse(photo):
    """Skin, and inside of an inked net line, as the coarse network gives them: 0 to 1, 512 pixels long."""
    import torch

    torch.set_num_threads(1)
    small = cv2.resize(np.ascontiguousarray(photo), (512, 384), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    x = torch.from_numpy(((small - 0.5) / 0.25).transpose(2, 0, 1)[None].copy())
    with torch.no_grad():
        return torch.sigmoid(run(coarse_steps(), x)[0, 4:6]).numpy()


def spoilt(rng, skin, truth):
    """What the coarse network gives, now and then worse: shifted by waves, or the truth at its size with narrow gaps lost."""
    kind = rng.random()
    if kind < 0.6:
        return skin
    base = skin if kind < 0.8 else cv2.resize(truth, skin.shape[::-1], interpolation=cv2.INTER_AREA)
    if kind >= 0.8:
        base = cv2.morphologyEx(base, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    h, w = base.shape
    wave = [
        cv2.resize(
            rng.normal(0, rng.uniform(0.3, 2.0), (12, 16)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC
        )
        for _ in range(2)
    ]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    base = cv2.remap(
        np.ascontiguousarray(base), x + wave[0], y + wave[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return cv2.GaussianBlur(base, (0, 0), rng.uniform(0.4, 1.5))


def tiles(seed, each=EACH):
    """Tiles of one scene, EACH x SIDE x SIDE x 6 bytes, and their number: none if the coarse network sees no outline."""
    import scene

    painted, photo = scene.compose(seed, LARGEST)
    rng = np.random.default_rng([seed, 5])
    skin, inside = coarse(photo)
    said = spoilt(rng, skin, painted.skin)
    scale = np.array([canvas.WIDTH / 512, canvas.HEIGHT / 384])
    h, w = skin.shape
    # Places along the coarse outlines of skin and of the net line's inside, back in the plane.
    edges = []
    for mask, share in ((said, 0.75), (inside, 0.25)):
        rings, _ = cv2.findContours((mask > 0.5).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        p = np.concatenate([r[:, 0] for r in rings if len(r) > 40] or [np.zeros((0, 2), int)])
        p = p[((p > 2) & (p < np.array([w, h]) - 3)).all(1)]
        if len(p):
            edges.append((p[rng.integers(0, len(p), each * 5)], share))
    out = np.zeros((each, *SHAPE), np.uint8)
    if not edges:
        return out, 0
    chance = np.array([s for _, s in edges])
    for p, which in zip(range(each), rng.choice(len(edges), each, p=chance / chance.sum())):
        # Gaps are few: every other tile is the one of five with most of them.
        tries = []
        for k in range(5 if p % 2 else 1):
            at = (edges[which][0][each * k + p] + 0.5) * scale
            i, j = np.clip(at.astype(int), 0, [canvas.WIDTH - 1, canvas.HEIGHT - 1])
            middle = np.array([painted.x[j, i], painted.y[j, i]]) + rng.uniform(-0.3, 0.3, 2) * SIDE * MM
            tries.append(
                rectified(
                    painted, photo, said, middle, rng.uniform(0, 2 * math.pi), MM * math.exp(rng.uniform(-0.06, 0.06))
                )
            )
        out[p] = max(tries, key=lambda t: (t[..., 4] == GAP).sum())
    return out, each


def rectified(painted, photo, said, middle, angle, mm):
    u, v = np.meshgrid(np.arange(SIDE) - SIDE / 2 + 0.5, np.arange(SIDE) - SIDE / 2 + 0.5)
    c, s = math.cos(angle) * mm, math.sin(angle) * mm
    plane = np.stack([middle[0] + c * u - s * v, middle[1] + s * u + c * v], -1).reshape(-1, 2)
    p = painted.camera.project(plane).reshape(SIDE, SIDE, 2).astype(np.float32)
    low, high = np.maximum(np.floor(p.min((0, 1))).astype(int) - 4, 0), np.ceil(p.max((0, 1))).astype(int) + 5
    box = (slice(low[1], high[1]), slice(low[0], high[0]))
    x, y = ((p[..., k] - low[k]).astype(np.float32) for k in (0, 1))
    look = lambda m: cv2.remap(np.ascontiguousarray(m[box]), x, y, cv2.INTER_LINEAR, borderValue=0)
    within = ((p >= 0) & (p <= [canvas.WIDTH - 1, canvas.HEIGHT - 1])).all(-1)
    if min(high - low) < 8 or (high <= low).any() or not within.any():
        return np.zeros(SHAPE, np.uint8)
    skin, ink = np.clip(look(painted.skin), 0, 1), np.clip(look(painted.ink), 0, 1)
    # A gap that a disc does not fit into; faint where it is narrower than a pixel.
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (NARROW, NARROW))
    gap = cv2.morphologyEx(skin, cv2.MORPH_CLOSE, disc) - skin
    label = np.where(skin > 0.5, np.where(ink > 0.3, INK, SKIN), GROUND)
    # Specks between the fibres of a torn edge are none.
    _, parts, about, _ = cv2.connectedComponentsWithStats((gap > 0.25).astype(np.uint8))
    large = about[:, cv2.CC_STAT_AREA] >= 15
    large[0] = False
    label = np.where(large[parts], GAP, label)
    small = (p + np.float32(0.5)) * np.float32(512 / canvas.WIDTH) - np.float32(0.5)
    score = cv2.remap(said, small[..., 0], small[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.dstack(
        [
            look(photo),
            np.round(np.clip(score, 0, 1) * 255).astype(np.uint8),
            label.astype(np.uint8),
            within.astype(np.uint8) * 255,
        ]
    )


def seed_of(i, first, watch):
    return WATCHED + i if i < watch else TRAINED + first + i - watch


def render(worker, workers, count, first, watch, pool, done, stop):
    cv2.setNumThreads(1)
    os.nice(5)
    cut = np.frombuffer(pool, np.uint8).reshape(count, EACH, *SHAPE)
    for i in range(worker, count, workers):
        if stop.value:
            return
        cut[i], made = tiles(seed_of(i, first, watch))
        done[i] = 1 if made else 2


def batch_of(torch, cut, which, draw):
    """Tiles mirrored and turned by quarters, in other colours: input, class, weight of each pixel."""
    dev, n = cut.device, len(which)
    T = cut[which].permute(0, 3, 1, 2).float()
    u = lambda a, b, *s: torch.rand(*s, device=dev, generator=draw) * (b - a) + a
    if torch.rand((), device=dev, generator=draw) < 0.5:
        T = T.flip(-1)
    T = T.rot90(int(torch.randint(0, 4, (), device=dev, generator=draw)), (2, 3))
    image, said, label, inside = T[:, :3] / 255, T[:, 3:4] / 255, T[:, 4].long(), T[:, 5] / 255
    grey = image.mean(1, True)
    image = image + (grey - image) * u(-0.3, 0.6, n, 1, 1, 1)
    image = image * torch.exp(u(-0.15, 0.15, n, 3, 1, 1)) * torch.exp(u(-0.4, 0.25, n, 1, 1, 1))
    image = image.clamp(1e-4, 1) ** torch.exp(u(-0.3, 0.3, n, 1, 1, 1))
    image = image + torch.randn(image.shape, device=dev, generator=draw) * u(0, 0.03, n, 1, 1, 1)
    x = torch.cat([(image.clamp(0, 1) - 0.5) / 0.25, (said - 0.5) / 0.25], 1) * inside[:, None]
    return x, label, inside


def loss_of(torch, F, answer, label, inside, weights):
    """Cross entropy, four times as much within two pixels of an edge between classes."""
    answer = answer.float()
    l = label.float()[:, None]
    edge = ((F.max_pool2d(l, 5, 1, 2) + F.max_pool2d(-l, 5, 1, 2)) > 0).float()[:, 0]
    each = F.cross_entropy(answer, label, weight=weights, reduction="none") * (1 + 3 * edge) * inside
    chance = torch.softmax(answer, 1) * inside[:, None]
    true = F.one_hot(label, 4).permute(0, 3, 1, 2).float() * inside[:, None]
    overlap = (2 * (chance * true).sum((0, 2, 3)) + 50) / ((chance + true).sum((0, 2, 3)) + 50)
    return each.mean() + 0.5 * (1 - overlap).mean()


def figures(answer, label, inside):
    """Of all tiles: overlap of each class, and of gaps how many of their pixels are found, and found rightly, within a pixel."""
    said = answer.argmax(1)
    say, ok = [], inside > 127
    for k, name in enumerate(("ground", "skin", "ink", "gap")):
        a, b = (said == k) & ok, (label == k) & ok
        say.append(f"{name} {(a & b).sum() / max((a | b).sum(), 1):.4f}")
    wide = lambda m: np.stack([cv2.dilate(t.astype(np.uint8), np.ones((3, 3), np.uint8)) for t in m]) > 0
    a, b = (said == GAP) & ok, (label == GAP) & ok
    say.append(
        f"gaps found {(b & wide(a)).sum() / max(b.sum(), 1):.4f}, of those said true {(a & wide(b)).sum() / max(a.sum(), 1):.4f}"
    )
    return ", ".join(say)


def plain(cut):
    """Tiles as the network takes them, without any change."""
    import torch

    T = torch.from_numpy(np.ascontiguousarray(cut)).permute(0, 3, 1, 2).float()
    return (T[:, :4] / 255 - 0.5) / 0.25 * (T[:, 5:] / 255)


def train(a):
    a.out.mkdir(parents=True, exist_ok=True)
    count = a.watch + a.scenes
    pool = mmap.mmap(-1, count * EACH * math.prod(SHAPE))
    done, stop = mp.Array("b", count, lock=False), mp.Value("b", 0)
    workers = [
        mp.Process(target=render, args=(w, a.workers, count, a.first, a.watch, pool, done, stop), daemon=True)
        for w in range(a.workers)
    ]
    [w.start() for w in workers]
    import torch
    import torch.nn.functional as F

    import skinnet
    from finenet import Net

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(3)
    draw = torch.Generator(device).manual_seed(4 + a.first)
    net, kept = (Net().to(device, memory_format=torch.channels_last) for _ in range(2))
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=device))
    kept.load_state_dict(net.state_dict())
    [p.requires_grad_(False) for p in kept.parameters()]
    print("parameters", sum(p.numel() for p in net.parameters()), device, flush=True)
    best = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-2)
    weights = torch.tensor([1.0, 1.0, 2.0, 12.0], device=device)
    cut = np.frombuffer(pool, np.uint8).reshape(count, EACH, *SHAPE)
    shared = torch.from_numpy(cut.reshape(-1, *SHAPE))
    kept_tiles = shared if device == "cpu" else torch.zeros((count * EACH, *SHAPE), dtype=torch.uint8, device=device)
    usable, have = [], 0

    def take():
        """Scenes that are ready, in the order of their seeds."""
        nonlocal have
        while have < count and done[have]:
            if done[have] == 1:
                if device != "cpu":
                    kept_tiles[have * EACH : (have + 1) * EACH] = shared[have * EACH : (have + 1) * EACH].to(device)
                if have >= a.watch:
                    usable.extend(range(have * EACH, (have + 1) * EACH))
            have += 1

    def watch():
        kept.eval()
        part = cut[: min(a.watch, have)].reshape(-1, *SHAPE)
        with torch.no_grad():
            answer = torch.cat(
                [kept(plain(part[i : i + 16]).to(device)).float().cpu() for i in range(0, len(part), 16)]
            )
        kept.train()
        return figures(answer.numpy(), part[..., 4], part[..., 5])

    while len(usable) < a.begin * EACH and time.time() - BEGIN < a.limit:
        take()
        time.sleep(0.05)
    print(f"{have} scenes after {time.time() - BEGIN:.0f} s", flush=True)
    step = 0
    while step < a.steps and usable:
        # The rate falls with the time or the steps, whichever is further.
        part = max(step / a.steps, (time.time() - BEGIN) / a.limit)
        if part >= 1:
            break
        for g in best.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * part)) + 2e-6
        take()
        which = torch.tensor(usable)[torch.randint(0, len(usable), (a.batch,), generator=None)].to(device)
        x, label, inside = batch_of(torch, kept_tiles, which, draw)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            answer = net(x.contiguous(memory_format=torch.channels_last))
        value = loss_of(torch, F, answer, label, inside, weights)
        best.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        k = min(0.998, (1 + step) / (10 + step))
        with torch.no_grad():
            for p, q in zip(kept.state_dict().values(), net.state_dict().values()):
                p.lerp_(q, 1 - k) if p.is_floating_point() else p.copy_(q)
        step += 1
        if step % a.say == 0:
            print(
                f"{step}: {time.time() - BEGIN:.0f} s, {len(usable)} tiles, loss {value.item():.4f}"
                + (f" {watch()}" if step % (10 * a.say) == 0 else ""),
                flush=True,
            )
    stop.value = 1
    print(f"end after {step} steps:", watch(), flush=True)
    [w.terminate() for w in workers]
    torch.save(kept.state_dict(), a.out / "fine.pt")
    kept.cpu().eval()
    out = skinnet.Writer()
    kept.write(out)
    (a.out / "fine.net").write_bytes(out.bytes())
    print("fine.net", len(out.bytes()), "bytes", flush=True)


def judge(a):
    import torch

    import skinnet

    cv2.setNumThreads(1)
    steps = skinnet.read(a.weights.read_bytes())
    answers, labels, insides, seconds = [], [], [], 0.0
    for seed in range(a.first, a.first + a.count):
        cut, made = tiles(seed)
        if not made:
            continue
        began = time.time()
        with torch.no_grad():
            answers.append(run(steps, plain(cut)).numpy())
        seconds += time.time() - began
        labels.append(cut[..., 4])
        insides.append(cut[..., 5])
    n = sum(map(len, labels))
    print(f"{n} tiles of {len(labels)} scenes:", figures(*(np.concatenate(v) for v in (answers, labels, insides))))
    print(f"{1000 * seconds / max(n, 1):.0f} ms a tile by PyTorch on one core")


COLOURS = np.array([(40, 40, 40), (60, 170, 60), (230, 40, 40), (255, 230, 60)], np.uint8)


def sheet(a):
    cv2.setNumThreads(1)
    rows = []
    for seed in range(a.first, a.first + a.count):
        cut, _ = tiles(seed, 6)
        rows += [
            np.hstack([t[..., :3] for t in cut]),
            np.hstack([np.dstack([t[..., 3]] * 3) for t in cut]),
            np.hstack([COLOURS[t[..., 4]] for t in cut]),
        ]
    cv2.imwrite(str(a.out), np.vstack(rows)[..., ::-1])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True)
    t = commands.add_parser("train")
    t.add_argument("out", type=Path)
    t.add_argument("--limit", type=float, default=560, help="seconds, rendering and all")
    t.add_argument("--steps", type=int, default=12000)
    t.add_argument("--scenes", type=int, default=4000, help="at most")
    t.add_argument("--watch", type=int, default=24, help="scenes to watch the training by, rendered first")
    t.add_argument("--begin", type=int, default=150, help="scenes rendered before the first step")
    t.add_argument("--workers", type=int, default=15)
    t.add_argument("--first", type=int, default=0)
    t.add_argument("--batch", type=int, default=64)
    t.add_argument("--rate", type=float, default=4e-3)
    t.add_argument("--say", type=int, default=100)
    t.add_argument("--from", dest="start", type=Path)
    t.set_defaults(run=train)
    j = commands.add_parser("judge")
    j.add_argument("weights", type=Path)
    s = commands.add_parser("sheet")
    s.add_argument("out", type=Path)
    for c, count, what in ((j, 40, judge), (s, 4, sheet)):
        c.add_argument("--first", type=int, default=JUDGED)
        c.add_argument("--count", type=int, default=count)
        c.set_defaults(run=what)
    a = parser.parse_args()
    a.run(a)


if __name__ == "__main__":
    main()
