"""Renders scenes and trains the network on them at the same time; writes the file of weights.

    python3 train.py OUT [--steps 5200] [--limit 560] [--workers 15] [--first 0] [--from OUT/net.pt]

The scenes are seeds FIRST + 1000 and up, those it is judged by 9000000 and up. Which scenes a step may draw from depends on the number of
the step alone, so that a faster or slower machine trains on the same; it waits where rendering is behind. --limit is the time in
seconds after which it stops early all the same.
"""

import argparse
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

SHAPE = (480, 640, 6)
JUDGED = 192
BEGIN = time.time()


def seed_of(i, first):
    return 9_000_000 + i if i < JUDGED else first + 1000 + i - JUDGED


def render(worker, workers, count, first, pool, done, stop, go):
    go.wait()
    import scene

    cv2.setNumThreads(1)
    os.nice(5)
    scenes = np.frombuffer(pool, np.uint8).reshape(count, *SHAPE)
    for i in range(worker, count, workers):
        if stop.value:
            return
        scenes[i] = scene.sample(seed_of(i, first))
        done[i] = 1


def main():
    args = argparse.ArgumentParser()
    args.add_argument("out", type=Path)
    args.add_argument("--steps", type=int, default=5200)
    args.add_argument("--limit", type=float, default=560)
    args.add_argument("--workers", type=int, default=15)
    args.add_argument("--first", type=int, default=0)
    args.add_argument("--begin", type=int, default=1500, help="scenes rendered before the first step")
    args.add_argument("--each", type=float, default=4.0, help="new scenes for each step")
    args.add_argument("--batch", type=int, default=48)
    args.add_argument("--rate", type=float, default=4e-3)
    args.add_argument("--from", dest="start", type=Path)
    a = args.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    count = JUDGED + a.begin + int(a.each * a.steps)
    pool = mmap.mmap(-1, count * math.prod(SHAPE))
    done, stop, go = mp.Array("b", count, lock=False), mp.Value("b", 0), mp.Event()
    workers = [
        mp.Process(target=render, args=(w, a.workers, count, a.first, pool, done, stop, go), daemon=True)
        for w in range(a.workers)
    ]
    [w.start() for w in workers]
    import torch

    train(torch, a, np.frombuffer(pool, np.uint8).reshape(count, *SHAPE), done, go)
    stop.value = 1
    [w.terminate() for w in workers]


class Scenes:
    """What is rendered, on the device, in the order of the seeds."""

    def __init__(self, torch, scenes, done, device):
        self.torch, self.scenes, self.done, self.have = torch, scenes, done, 0
        self.on_device = torch.zeros(scenes.shape, dtype=torch.uint8, device=device)

    def wait_for(self, count):
        count = min(count, len(self.scenes))
        while self.have < count:
            upto = self.have
            while upto < len(self.scenes) and upto - self.have < 256 and self.done[upto]:
                upto += 1
            if upto == self.have:
                time.sleep(0.05)
                continue
            self.on_device[self.have : upto] = self.torch.from_numpy(self.scenes[self.have : upto]).to(
                self.on_device.device
            )
            self.have = upto


def augmented(torch, F, scenes, low, high, batch, size, draw):
    """A batch: pictures turned, mirrored, scaled, in other colours; classes, shares, and what is inside the photo."""
    dev, (h, w) = scenes.device, size
    u = lambda a, b, *s: torch.rand(*s, device=dev, generator=draw) * (b - a) + a
    chance = lambda p, *s: (torch.rand(*s, device=dev, generator=draw) < p).float()
    which = torch.randint(low, high, (batch,), device=dev, generator=draw)
    S = scenes[which].permute(0, 3, 1, 2).float()
    fit = chance(0.5, batch)
    scale = torch.exp(u(-0.4, 0.45, batch) * (1 - fit) + u(-0.02, 0.15, batch) * fit) * 640 / max(w, h * 4 / 3)
    quarter = torch.randint(0, 4, (batch,), device=dev, generator=draw).float() * (math.pi / 2)
    turn = quarter + u(-0.15, 0.15, batch) * (1 - fit) + u(-math.pi, math.pi, batch) * chance(0.25, batch) * (1 - fit)
    mirror = 1 - 2 * chance(0.5, batch)
    c, s = torch.cos(turn) * scale, torch.sin(turn) * scale
    cx, cy = 320 + u(-90, 90, batch) * (1 - fit), 240 + u(-70, 70, batch) * (1 - fit)
    y, x = torch.meshgrid(
        torch.arange(h, device=dev) - h / 2 + 0.5, torch.arange(w, device=dev) - w / 2 + 0.5, indexing="ij"
    )
    b = lambda t: t[:, None, None]
    deep = 1 + b(u(-2e-4, 2e-4, batch)) * x + b(u(-2e-4, 2e-4, batch)) * y
    px = (b(c * mirror) * x - b(s) * y) / deep + b(cx)
    py = (b(s * mirror) * x + b(c) * y) / deep + b(cy)
    grid = torch.stack([px / 320 - 1, py / 240 - 1], -1)
    look = lambda t, mode: F.grid_sample(t, grid, mode, "zeros", False)
    image, label, share = (
        look(S[:, :3], "bilinear") / 255,
        look(S[:, 3:4], "nearest")[:, 0].long(),
        look(S[:, 4:], "bilinear") / 255,
    )
    inside = ((px > 0) & (px < 640) & (py > 0) & (py < 480)).float()
    bar = b(u(0.1, 0.3, batch) * chance(0.3, batch)) * h  # wider photos: black above and below
    inside = (inside * (y.abs()[None] < h / 2 - bar / 2))[:, None]
    # colours
    grey = image.mean(1, True)
    image = image + (grey - image) * (u(-0.3, 0.4, batch, 1, 1, 1) * chance(0.6, batch, 1, 1, 1))
    image = (
        image
        * torch.exp(u(-0.2, 0.2, batch, 3, 1, 1) * chance(0.5, batch, 1, 1, 1))
        * torch.exp(u(-0.3, 0.25, batch, 1, 1, 1))
    )
    mixed = torch.gather(
        image,
        1,
        torch.argsort(torch.rand(batch, 3, device=dev, generator=draw), 1)[:, :, None, None].expand(-1, -1, h, w),
    )
    image = torch.where(chance(0.12, batch, 1, 1, 1) > 0, mixed, image)
    image = image.clamp(1e-4, 1) ** torch.exp(u(-0.35, 0.35, batch, 1, 1, 1))
    mean = image.mean((1, 2, 3), True)
    image = mean + (image - mean) * torch.exp(u(-0.4, 0.25, batch, 1, 1, 1))
    field = F.interpolate(
        torch.randn(batch, 1, 3, 4, device=dev, generator=draw), (h, w), mode="bicubic", align_corners=False
    )
    image = image * torch.exp(field * u(0, 0.25, batch, 1, 1, 1) * chance(0.4, batch, 1, 1, 1))
    # blur and noise
    sharp = F.avg_pool2d(F.pad(image, (1, 1, 1, 1), "replicate"), 3, 1)
    image = image + (sharp - image) * u(-0.8, 1, batch, 1, 1, 1) * chance(0.4, batch, 1, 1, 1)
    image = image + torch.randn(image.shape, device=dev, generator=draw) * u(0, 0.04, batch, 1, 1, 1) * chance(
        0.5, batch, 1, 1, 1
    )
    image = image.clamp(0, 1)
    from net import MEAN, SPREAD

    return ((image - MEAN) / SPREAD) * inside, label, share, inside


def loss(torch, F, answer, label, share, inside, weights):
    answer = answer.float()
    classes = (F.cross_entropy(answer[:, :4], label, weight=weights, reduction="none")[:, None] * inside).mean()
    hard = (share > 0.5).float()
    edge = F.max_pool2d(hard, 7, 1, 3) + F.max_pool2d(1 - hard, 7, 1, 3) - 1
    each = F.binary_cross_entropy_with_logits(answer[:, 4:], share, reduction="none") * (1 + 3 * edge) * inside
    p, q = torch.sigmoid(answer[:, 4:]) * inside, share * inside
    # without any such area there is nothing to overlap with
    dice = (1 - (2 * (p * q).sum((2, 3)) + 50) / ((p * p).sum((2, 3)) + (q * q).sum((2, 3)) + 50)).mean()
    return classes + 2 * each.mean() + 0.5 * dice


def overlaps(torch, F, net, scenes):
    """Overlap (intersection by union) of skin, and of the inside of inked net lines, on the scenes judged by; 512 by 384."""
    from net import MEAN, SPREAD

    net.eval()
    out = []
    with torch.no_grad(), torch.autocast(scenes.device.type, torch.bfloat16):
        for i in range(0, JUDGED, 16):
            S = F.interpolate(scenes[i : i + 16].permute(0, 3, 1, 2).float(), (384, 512), mode="area")
            answer = net((S[:, :3] / 255 - MEAN) / SPREAD).float()[:, 4:] > 0
            truth = S[:, 4:] > 127
            out.append(
                torch.stack([(answer & truth).sum((2, 3)), (answer | truth).sum((2, 3)), truth.sum((2, 3))], -1)
            )
    net.train()
    both, either, true = torch.cat(out).double().unbind(-1)
    iou = both / either.clamp(1)
    there = true > 200
    say = []
    for k, name in enumerate(("skin", "inside")):
        v = iou[:, k][there[:, k]]
        wrong = (either[:, k][~there[:, k]] > 300).double().mean()
        say.append(
            f"{name}: mean {v.mean():.4f}, middle {v.median():.4f}, 10 % {v.quantile(0.1):.4f}; {wrong:.3f} of empty ones not left empty"
        )
    return "; ".join(say)


def train(torch, a, scenes, done, go):
    import torch.nn.functional as F
    from net import Net
    import skinnet

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(1)
    draw = torch.Generator(device).manual_seed(2 + a.first)
    torch.backends.cudnn.benchmark = False
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    net, kept = (Net().to(device, memory_format=torch.channels_last) for _ in range(2))
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=device))
    kept.load_state_dict(net.state_dict())
    [p.requires_grad_(False) for p in kept.parameters()]
    print(
        "parameters",
        sum(p.numel() for p in net.parameters()),
        torch.cuda.get_device_name() if device == "cuda" else "cpu",
        flush=True,
    )
    best = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-2)
    weights = torch.tensor([1.0, 1.0, 2.0, 1.0], device=device)
    sizes = [(384, 512), (384, 512), (512, 384), (448, 576)]
    have = Scenes(torch, scenes, done, device)

    def learn(low, upto, size, draw):
        batch = a.batch * 196608 // (size[0] * size[1])
        x, label, share, inside = augmented(torch, F, have.on_device, low, upto, batch, size, draw)
        with torch.autocast(device, torch.bfloat16):
            answer = net(x.contiguous(memory_format=torch.channels_last))
        value = loss(torch, F, answer, label, share, inside, weights)
        best.zero_grad(set_to_none=True)
        value.backward()
        return value

    # the device compiles and picks its programs, which takes long beside busy processes; nothing is learnt
    before = {k: v.clone() for k, v in net.state_dict().items()}
    for size in sizes[1:]:
        learn(0, JUDGED, size, torch.Generator(device).manual_seed(0))
    net.load_state_dict(before)
    print(f"ready after {time.time() - BEGIN:.0f} s", flush=True)
    go.set()
    have.wait_for(JUDGED + a.begin)
    print(f"{have.have} scenes after {time.time() - BEGIN:.0f} s", flush=True)
    for step in range(a.steps):
        if time.time() - BEGIN > a.limit:
            print("stopped early by --limit", flush=True)
            break
        part = step / a.steps
        for g in best.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / 300) * (0.5 + 0.5 * math.cos(math.pi * part)) + 2e-6
        upto = JUDGED + a.begin + int(a.each * step)
        have.wait_for(upto)
        size = sizes[step % len(sizes)]
        value = learn(JUDGED, upto, size, draw)
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        k = min(0.998, (1 + step) / (10 + step))
        with torch.no_grad():
            pairs = [(p, q) for p, q in zip(kept.state_dict().values(), net.state_dict().values())]
            torch._foreach_lerp_(
                [p for p, _ in pairs if p.is_floating_point()], [q for p, q in pairs if p.is_floating_point()], 1 - k
            )
        if step % 100 == 99:
            seconds = time.time() - BEGIN
            text = overlaps(torch, F, kept, have.on_device) if step % 1000 == 999 else ""
            ready = sum(done[::16]) * 16
            print(f"{step + 1}: {seconds:.0f} s, {ready} rendered, loss {value.item():.4f} {text}", flush=True)
    print("end:", overlaps(torch, F, kept, have.on_device), flush=True)
    torch.save(net.state_dict(), a.out / "net.pt")
    torch.save(kept.state_dict(), a.out / "kept.pt")
    kept.cpu().eval()
    out = skinnet.Writer()
    kept.write(out)
    (a.out / "skin.net").write_bytes(out.bytes())
    print("skin.net", len(out.bytes()), "bytes", flush=True)


if __name__ == "__main__":
    main()
