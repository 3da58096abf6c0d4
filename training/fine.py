"""The fine network: scenes at full size, seen from above at some 0.4 mm a pixel and cut into tiles; training and judging.

python3 fine.py train OUT [--limit 560] [--workers 15] [--gpus 4]          writes OUT/fine.net
python3 fine.py mix OUT A.PT B.PT                                          half of each, writes OUT/fine.net
python3 fine.py judge FINE.NET [--first 19500000] [--count 40]
python3 fine.py sheet OUT.png [--first 19500000] [--count 4]               tiles, what the coarse network says, the truth

Seeds: 20000000 and up to train on, 19000000 and up to watch the training by, 19500000 and up to judge; none was used for the coarse network.
"""

import argparse
import functools
import math
import mmap
import multiprocessing as mp
import os
import subprocess
import sys
import time
from pathlib import Path

for library in ("OMP", "OPENBLAS", "MKL"):  # each process has one core
    os.environ[f"{library}_NUM_THREADS"] = "1"

import cv2
import numpy as np

# The photo is 4.3 megapixels here; set before the modules that paint take it over.
import canvas

canvas.WIDTH, canvas.HEIGHT = 2400, 1800

MM = 0.4  # of the plane that a pixel of a tile spans, more or less
SIDE = 256
EACH = 16  # tiles of a scene
# red, green, blue; skin and inside by the coarse network; skin, inside, ink; arrow, relief cut, gap; inside of the photo
SHAPE = (SIDE, SIDE, 12)
LARGEST = 700  # mm: what is larger does not come near MM in such a photo
NARROW = 9  # pixels of a tile: a gap less wide than this is an answer of its own
WATCHED, JUDGED, TRAINED = 19_000_000, 19_500_000, 20_000_000
NAMES = ("skin", "inside", "ink", "arrow", "relief", "gap")
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
    h, w = photo.shape[:2]
    size = (512, round(512 * h / w)) if w >= h else (round(512 * w / h), 512)
    small = cv2.resize(np.ascontiguousarray(photo), size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    x = ((small - 0.5) / 0.25).transpose(2, 0, 1)
    full = np.zeros((3, -(-x.shape[1] // 64) * 64, -(-x.shape[2] // 64) * 64), np.float32)
    full[:, : x.shape[1], : x.shape[2]] = x
    with torch.no_grad():
        return torch.sigmoid(run(coarse_steps(), torch.from_numpy(full[None]))[0, 4:6, : x.shape[1], : x.shape[2]]).numpy()


def spoilt(rng, said, truth):
    """What the coarse network gives, now and then worse: moved by waves, blurred, with parts lost or added."""
    kind = rng.random()
    if kind < 0.4:
        return said
    base = said if kind < 0.7 else np.stack([cv2.resize(t, said.shape[:0:-1], interpolation=cv2.INTER_AREA) for t in truth])
    if kind >= 0.7:
        base = np.stack([cv2.morphologyEx(b, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) for b in base])
    h, w = base.shape[1:]
    smooth = lambda spread, cells: cv2.resize(
        rng.normal(0, spread, cells).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC
    )
    reach = rng.uniform(0.3, 2.5)
    y, x = np.mgrid[:h, :w].astype(np.float32)
    x, y = x + smooth(reach, (12, 16)), y + smooth(reach, (12, 16))
    soft = rng.uniform(0.4, 1.5)
    out = []
    for b in base:
        b = cv2.remap(np.ascontiguousarray(b), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        out.append(cv2.GaussianBlur(b, (0, 0), soft))
    if rng.random() < 0.3:  # parts that it does not see, parts that it makes up
        lost = smooth(1, (9, 12))
        out = [np.where(lost > 1.4, b * rng.uniform(0, 0.8), np.where(lost < -1.7, np.maximum(b, rng.uniform(0.2, 0.9)), b)) for b in out]
    return np.stack(out).astype(np.float32)


def tiles(seed, each=EACH):
    """Tiles of one scene, EACH x SHAPE bytes, and their number: none if no skin is to be seen."""
    import scene

    painted, photo = scene.compose(seed, LARGEST)
    rng = np.random.default_rng([seed, 5])
    said = spoilt(rng, coarse(photo), (painted.skin, painted.inside))
    out = np.zeros((each, *SHAPE), np.uint8)
    mm = MM * math.exp(rng.uniform(-0.25, 0.2))
    places = [p for p in painted.spots if seen(painted, p)]
    edges = []
    for mask in (painted.skin, painted.inside, *said):
        small = cv2.resize(mask, (600, 450), interpolation=cv2.INTER_AREA)
        rings, _ = cv2.findContours((small > 0.5).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        p = np.concatenate([r[:, 0] for r in rings if len(r) > 30] or [np.zeros((0, 2), int)])
        p = p[((p > 1) & (p < [598, 448])).all(1)]
        edges.append([np.array([painted.x[j * 4, i * 4], painted.y[j * 4, i * 4]]) for i, j in p])
    if not edges[0]:
        return out, 0
    for k in range(each):
        kind = rng.random()
        if places and kind < 0.45:
            middle = places[rng.integers(0, len(places))] + rng.uniform(-0.25, 0.25, 2) * SIDE * mm
        elif kind < 0.95:
            several = [e for e in edges if e]
            e = several[rng.integers(0, len(several))]
            middle = e[rng.integers(0, len(e))] + rng.uniform(-0.35, 0.35, 2) * SIDE * mm
        else:
            i, j = rng.integers(0, canvas.WIDTH), rng.integers(0, canvas.HEIGHT)
            middle = np.array([painted.x[j, i], painted.y[j, i]])
        out[k] = from_above(painted, photo, said, middle, rng.uniform(0, 2 * math.pi), mm)
    return out, each


def seen(painted, p):
    q = painted.camera.project(p)[0]
    return 20 < q[0] < canvas.WIDTH - 20 and 20 < q[1] < canvas.HEIGHT - 20


def from_above(painted, photo, said, middle, angle, mm):
    u, v = np.meshgrid(np.arange(SIDE) - SIDE / 2 + 0.5, np.arange(SIDE) - SIDE / 2 + 0.5)
    c, s = math.cos(angle) * mm, math.sin(angle) * mm
    plane = np.stack([middle[0] + c * u - s * v, middle[1] + s * u + c * v], -1).reshape(-1, 2)
    p = painted.camera.project(plane).reshape(SIDE, SIDE, 2).astype(np.float32)
    low, high = np.floor(p.min((0, 1))).astype(int) - 8, np.ceil(p.max((0, 1))).astype(int) + 9
    low, high = np.maximum(low, 0), np.minimum(high, [canvas.WIDTH, canvas.HEIGHT])
    within = ((p >= 0) & (p <= [canvas.WIDTH - 1, canvas.HEIGHT - 1])).all(-1)
    if min(high - low) < 12 or not within.any():
        return np.zeros(SHAPE, np.uint8)
    box = (slice(low[1], high[1]), slice(low[0], high[0]))
    x, y = ((p[..., k] - low[k]).astype(np.float32) for k in (0, 1))
    # Pixels of the photo for one of the tile: if several, their mean.
    d, r = p[-1, 0] - p[0, 0], p[0, -1] - p[0, 0]
    many = math.sqrt(abs(d[0] * r[1] - d[1] * r[0])) / SIDE
    soften = (lambda m: cv2.GaussianBlur(m, (0, 0), 0.35 * many)) if many > 1.2 else lambda m: m
    look = lambda m: cv2.remap(soften(np.ascontiguousarray(m[box])), x, y, cv2.INTER_LINEAR, borderValue=0)
    skin, inside, ink, arrow, relief = (
        np.clip(look(m), 0, 1) for m in (painted.skin, painted.inside, painted.ink, painted.arrow, painted.relief)
    )
    # A gap that a disc does not fit into; faint where it is narrower than a pixel.
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (NARROW, NARROW))
    gap = (cv2.morphologyEx(skin, cv2.MORPH_CLOSE, disc) - skin > 0.2).astype(np.uint8)
    # Specks between the fibres of a torn edge are none.
    _, parts, about, _ = cv2.connectedComponentsWithStats(gap)
    large = (about[:, cv2.CC_STAT_AREA] >= 15) & (about[:, 2:4].max(1) >= 12)
    large[0] = False
    gap = large[parts].astype(np.float32)
    scale = np.float32(max(said.shape[1:]) / canvas.WIDTH)
    small = (p + np.float32(0.5)) * scale - np.float32(0.5)
    score = [cv2.remap(s, small[..., 0], small[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for s in said]
    to_bytes = lambda m: np.round(np.clip(m, 0, 1) * 255).astype(np.uint8)
    layers = [*score, skin, inside, ink, arrow, relief, gap, within]
    return np.dstack([look(photo), *map(to_bytes, layers)])


def seed_of(i, first, watch):
    return WATCHED + i if i < watch else TRAINED + first + i - watch


def on_each(a):
    """One process for each GPU, each with its own scenes; their gradients are shared."""
    common = {"MASTER_ADDR": "127.0.0.1", "MASTER_PORT": "29511", "WORLD_SIZE": str(a.gpus), "NCCL_NVLS_ENABLE": "0"}
    each = [
        subprocess.Popen([sys.executable, *sys.argv], env=os.environ | common | {"RANK": str(r), "CUDA_VISIBLE_DEVICES": str(r)})
        for r in range(a.gpus)
    ]
    sys.exit(max(p.wait() for p in each))


def begin_at(torch, net, weights):
    """Takes the weights of a file of the program. `settle` has to follow: the file has no normalisation."""
    import skinnet
    from net import Conv

    of = lambda part: [c for c in part.modules() if isinstance(c, Conv)]
    convs = [c for d in net.down for c in of(d)]
    for u in net.up:
        convs += [u.below, u.beside, *of(u.after)]
    steps = [s[2:] for s in skinnet.read(weights.read_bytes()) if s[0] == "conv"]
    with torch.no_grad():
        for c, (weight, bias) in zip([*convs, net.head], steps, strict=True):
            inner, outer = (c.conv, c.norm) if isinstance(c, Conv) else (c, c)
            inner.weight.copy_(torch.from_numpy(np.array(weight)))
            outer.bias.copy_(torch.from_numpy(np.array(bias)))


def settle(torch, net, x):
    """Gives each normalisation the mean and spread it meets on `x`, and takes them back behind it: nothing changes."""

    def meet(norm, given):
        v = given[0].detach()
        mean, var = v.mean((0, 2, 3)), v.var((0, 2, 3))
        with torch.no_grad():
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(var)
            norm.weight.copy_(torch.sqrt(var + norm.eps))
            norm.bias.add_(mean)

    hooks = [m.register_forward_pre_hook(meet) for m in net.modules() if isinstance(m, torch.nn.BatchNorm2d)]
    net.eval()
    with torch.no_grad():
        net(x)
    net.train()
    [h.remove() for h in hooks]


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
    """Tiles mirrored and turned by quarters, in other colours: picture, answers, what is in the photo."""
    import torch.nn.functional as F

    dev, n = cut.device, len(which)
    T = cut[which].permute(0, 3, 1, 2).float() / 255
    u = lambda a, b, *s: torch.rand(*s, device=dev, generator=draw) * (b - a) + a
    chance = lambda p: (torch.rand(n, 1, 1, 1, device=dev, generator=draw) < p).float()
    if torch.rand((), device=dev, generator=draw) < 0.5:
        T = T.flip(-1)
    T = T.rot90(int(torch.randint(0, 4, (), device=dev, generator=draw)), (2, 3))
    image, said, answers, inside = T[:, :3], T[:, 3:5], T[:, 5:11], T[:, 11:]
    grey = image.mean(1, True)
    image = image + (grey - image) * u(-0.3, 0.7, n, 1, 1, 1)
    image = image * torch.exp(u(-0.2, 0.2, n, 3, 1, 1)) * torch.exp(u(-0.4, 0.25, n, 1, 1, 1))
    order = torch.argsort(torch.rand(n, 3, device=dev, generator=draw), 1)
    mixed = torch.gather(image, 1, order[:, :, None, None].expand(-1, -1, *image.shape[2:]))
    image = torch.where(chance(0.12) > 0, mixed, image)
    image = image.clamp(1e-4, 1) ** torch.exp(u(-0.35, 0.35, n, 1, 1, 1))
    mean = image.mean((1, 2, 3), True)
    image = mean + (image - mean) * torch.exp(u(-0.4, 0.3, n, 1, 1, 1))
    soft = F.avg_pool2d(F.pad(image, (1, 1, 1, 1), "replicate"), 3, 1)
    image = image + (soft - image) * u(-0.8, 1, n, 1, 1, 1) * chance(0.4)
    image = image + torch.randn(image.shape, device=dev, generator=draw) * u(0, 0.04, n, 1, 1, 1) * chance(0.5)
    x = torch.cat([(image.clamp(0, 1) - 0.5) / 0.25, (said - 0.5) / 0.25], 1) * inside
    return x, answers, inside


def loss_of(torch, F, answer, truth, inside):
    """Cross entropy of each answer, more along edges and in what is rare; and overlaps of what is rare."""
    answer = answer.float()
    hard = (truth[:, :2] > 0.5).float()
    edge = F.max_pool2d(hard, 9, 1, 4) + F.max_pool2d(1 - hard, 9, 1, 4) - 1
    weight = torch.cat([1 + 4 * edge, 1 + 2 * truth[:, 2:3], 1 + 6 * truth[:, 3:]], 1) * inside
    each = F.binary_cross_entropy_with_logits(answer, truth, reduction="none") * weight
    p = torch.sigmoid(answer[:, 2:]) * inside
    t = truth[:, 2:] * inside
    overlap = (2 * (p * t).sum((0, 2, 3)) + 50) / ((p * p + t * t).sum((0, 2, 3)) + 50)
    return each.mean((0, 2, 3)).sum() + 0.3 * (1 - overlap).sum()


def figures(chance, truth, inside):
    """Overlap of each answer; how far the edge of skin lies off, by the area between the two and the edge's length, pixels."""
    say, ok = [], inside > 127
    for k, name in enumerate(NAMES):
        a, b = (chance[:, k] > 0.5) & ok, (truth[..., k] > 127) & ok
        say.append(f"{name} {(a & b).sum() / max((a | b).sum(), 1):.4f}")
    for k in (0, 1):
        a, b = (chance[:, k] > 0.5) & ok, (truth[..., k] > 127) & ok
        long = sum(cv2.morphologyEx(t.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)).sum() / 2 for t in b)
        say.append(f"{NAMES[k]} off {(a ^ b).sum() / max(long, 1):.3f} px")
    return ", ".join(say)


def plain(cut):
    """Tiles as the network takes them, without any change."""
    import torch

    T = torch.from_numpy(np.ascontiguousarray(cut[..., [0, 1, 2, 3, 4, 11]])).permute(0, 3, 1, 2).float()
    return (T[:, :5] / 255 - 0.5) / 0.25 * (T[:, 5:] / 255)


def train(a):
    rank = int(os.environ.get("RANK", 0))
    if a.gpus > 1 and "RANK" not in os.environ:
        on_each(a)
    a.out.mkdir(parents=True, exist_ok=True)
    a.first += 1_000_000 * rank
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
    torch.manual_seed(3 + rank)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    draw = torch.Generator(device).manual_seed(4 + a.first)
    net, kept = (Net().to(device, memory_format=torch.channels_last) for _ in range(2))
    if a.start and a.start.suffix == ".pt":
        net.load_state_dict(torch.load(a.start, map_location=device))
    print("parameters", sum(p.numel() for p in net.parameters()), device, flush=True)
    cut = np.frombuffer(pool, np.uint8).reshape(count, EACH, *SHAPE)
    shared = torch.from_numpy(cut.reshape(-1, *SHAPE))
    on_device = shared if device == "cpu" else torch.zeros((count * EACH, *SHAPE), dtype=torch.uint8, device=device)
    usable, have, waited = [], 0, time.time()

    def take(most):
        """Scenes that are ready, in the order of their seeds; one that lags for long is passed over."""
        nonlocal have, waited
        for _ in range(most):
            if have == count or not done[have] and time.time() - waited < 60:
                return
            if done[have] == 1:
                if device != "cpu":
                    on_device[have * EACH : (have + 1) * EACH] = shared[have * EACH : (have + 1) * EACH].to(device)
                if have >= a.watch:
                    usable.extend(range(have * EACH, (have + 1) * EACH))
            waited, have = time.time(), have + 1

    def watch():
        kept.eval()
        part = cut[: min(a.watch, have)].reshape(-1, *SHAPE)
        with torch.no_grad():
            answer = [torch.sigmoid(kept(plain(part[i : i + 16]).to(device)).float()).cpu() for i in range(0, len(part), 16)]
        kept.train()
        return figures(torch.cat(answer).numpy(), part[..., 5:11], part[..., 11])

    while len(usable) < a.begin * EACH and time.time() - BEGIN < a.limit:
        take(64)
        time.sleep(0.05)
    print(f"{have} scenes after {time.time() - BEGIN:.0f} s", flush=True)

    def batch():
        which = torch.tensor([usable[i] for i in torch.randint(0, len(usable), (a.batch,))]).to(device)
        x, truth, inside = batch_of(torch, on_device, which, draw)
        return x.contiguous(memory_format=torch.channels_last), truth, inside

    if a.start and a.start.suffix != ".pt":
        begin_at(torch, net, a.start)
        settle(torch, net, torch.cat([batch()[0] for _ in range(4)]))
    learns = net
    if a.gpus > 1:
        torch.distributed.init_process_group("nccl")
        learns = torch.nn.parallel.DistributedDataParallel(net)
    kept.load_state_dict(net.state_dict())
    [p.requires_grad_(False) for p in kept.parameters()]
    best = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-2)
    step = 0
    while usable:
        # The rate falls with the time; all end with the same step.
        part = torch.tensor((time.time() - BEGIN) / a.limit, device=device)
        if a.gpus > 1:
            torch.distributed.all_reduce(part, torch.distributed.ReduceOp.MAX)
        part = part.item()
        if part >= 1:
            break
        for g in best.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * part)) + 2e-6
        take(4)
        x, truth, inside = batch()
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            answer = learns(x)
        value = loss_of(torch, F, answer, truth, inside)
        best.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        k = min(0.998, (1 + step) / (10 + step))
        with torch.no_grad():
            pairs = [(p, q) for p, q in zip(kept.state_dict().values(), net.state_dict().values()) if p.is_floating_point()]
            torch._foreach_lerp_([p for p, _ in pairs], [q for _, q in pairs], 1 - k)
        step += 1
        if step % a.say == 0 and rank == 0:
            more = f" {watch()}" if step % (10 * a.say) == 0 else ""
            print(f"{step}: {time.time() - BEGIN:.0f} s, {len(usable)} tiles, loss {value.item():.4f}{more}", flush=True)
    stop.value = 1
    if rank:
        print(f"{have} scenes of process {rank}", flush=True)
        [w.terminate() for w in workers]
        return
    print(f"end after {step} steps, {have} scenes:", watch(), flush=True)
    [w.terminate() for w in workers]
    torch.save(kept.state_dict(), a.out / "fine.pt")
    kept.cpu().eval()
    out = skinnet.Writer()
    kept.write(out)
    (a.out / "fine.net").write_bytes(out.bytes())
    print("fine.net", len(out.bytes()), "bytes", flush=True)


def mix(a):
    """Half of the weights of one training and half of those of one that went on from it: better than either."""
    import torch

    import skinnet
    from finenet import Net

    one, other = (torch.load(p, map_location="cpu") for p in (a.one, a.other))
    net = Net()
    net.load_state_dict({k: (v + other[k]) / 2 if v.is_floating_point() else v for k, v in one.items()})
    net.eval()
    out = skinnet.Writer()
    net.write(out)
    a.out.mkdir(parents=True, exist_ok=True)
    (a.out / "fine.net").write_bytes(out.bytes())


def judge(a):
    import torch

    import skinnet

    cv2.setNumThreads(1)
    steps = skinnet.read(a.weights.read_bytes())
    answers, parts, seconds = [], [], 0.0
    for seed in range(a.first, a.first + a.count):
        cut, made = tiles(seed)
        if not made:
            continue
        began = time.time()
        with torch.no_grad():
            answers.append(torch.sigmoid(run(steps, plain(cut))).numpy())
        seconds += time.time() - began
        parts.append(cut)
    part = np.concatenate(parts)
    print(f"{len(part)} tiles of {len(parts)} scenes:", figures(np.concatenate(answers), part[..., 5:11], part[..., 11]))
    print(f"{1000 * seconds / max(len(part), 1):.0f} ms a tile by PyTorch on one core")


def sheet(a):
    cv2.setNumThreads(1)
    rows = []
    for seed in range(a.first, a.first + a.count):
        cut, _ = tiles(seed, 6)
        red, green = cut[..., 8:11] , cut[..., 5:8]
        rows += [np.hstack([t[..., :3] for t in cut])]
        rows += [np.hstack([np.dstack([t[..., 3], t[..., 4], t[..., 4] * 0]) for t in cut])]
        rows += [np.hstack(list(green)), np.hstack(list(red))]
    cv2.imwrite(str(a.out), np.vstack(rows)[..., ::-1])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True)
    t = commands.add_parser("train")
    t.add_argument("out", type=Path)
    t.add_argument("--limit", type=float, default=560, help="seconds, rendering and all")
    t.add_argument("--scenes", type=int, default=6000, help="at most")
    t.add_argument("--watch", type=int, default=24, help="scenes to watch the training by, rendered first")
    t.add_argument("--begin", type=int, default=200, help="scenes rendered before the first step")
    t.add_argument("--workers", type=int, default=15, help="that render, for each GPU")
    t.add_argument("--gpus", type=int, default=1)
    t.add_argument("--first", type=int, default=0)
    t.add_argument("--batch", type=int, default=48)
    t.add_argument("--rate", type=float, default=4e-3)
    t.add_argument("--say", type=int, default=100)
    t.add_argument("--from", dest="start", type=Path, help="fine.pt of a training, or the program's near.net")
    t.set_defaults(run=train)
    m = commands.add_parser("mix")
    for name in ("out", "one", "other"):
        m.add_argument(name, type=Path)
    m.set_defaults(run=mix)
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
