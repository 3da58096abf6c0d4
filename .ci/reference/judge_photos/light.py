"""Light on the bench, and what lens, sensor and phone make of it."""

import cv2
import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

from canvas import wide_blur
from noise import luminance

CAREFUL = ["window", "window", "lamps", "sky"]
PEOPLE = ["window", "sun", "bars", "leaves", "lamps", "own-shadow", "mixed", "flash", "dim"]


def sun_of(kind, rng):
    """mm of shadow that a mm of height casts."""
    a = rng.uniform(0, 2 * np.pi)
    length = rng.uniform(0.6, 1.8) if kind in ("sun", "bars", "leaves", "own-shadow") else rng.uniform(0.1, 0.6)
    return np.array([np.cos(a), np.sin(a)]) * length


def smooth_step(t):
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


def light_up(canvas, kind, rng, noise, middle, reach):
    """Albedo → light that reaches the lens, linear, 3 channels."""
    step = 8
    x, y = canvas.x[::step, ::step] - np.float32(middle[0]), canvas.y[::step, ::step] - np.float32(middle[1])
    a = rng.uniform(0, 2 * np.pi)
    hard = kind in ("sun", "bars", "leaves", "own-shadow")
    direct_share = rng.uniform(0.55, 0.85) if hard else rng.uniform(0.2, 0.5)
    warm = lambda k: np.array([1 + 0.22 * k, 1.0, 1 - 0.3 * k], np.float32)
    ambient_tint, direct_tint = warm(rng.normal(0, 0.25)), warm(rng.normal(0.15, 0.25))
    if kind in ("mixed", "lamps"):
        ambient_tint, direct_tint = warm(-abs(rng.normal(0.2, 0.3))), warm(abs(rng.normal(0.6, 0.3)))
    slope = rng.uniform(0.05, 0.2) if kind == "sky" else rng.uniform(0.1, 0.4)
    ambient = 1 + slope * np.clip((x * np.cos(a) + y * np.sin(a)) / reach, -1.5, 1.5)
    direct = np.ones_like(ambient)
    if kind in ("lamps", "mixed", "dim"):
        direct = np.full_like(ambient, 0.25)
        for _ in range(rng.integers(1, 4)):
            c = rng.normal(0, 0.7 * reach, 2)
            h = rng.uniform(0.8, 2.0) * reach
            direct += 1 / (1 + ((x - c[0]) ** 2 + (y - c[1]) ** 2) / h**2) ** 1.5
    if kind == "flash":
        c = rng.normal(0, 0.15 * reach, 2)
        direct = 1.6 * np.exp(-((x - c[0]) ** 2 + (y - c[1]) ** 2) / (rng.uniform(0.8, 1.3) * reach) ** 2) + 0.2
    up = lambda m: cv2.resize(
        m.astype(np.float32), (-(-canvas.width // step) * step, -(-canvas.height // step) * step), interpolation=cv2.INTER_LINEAR
    )[: canvas.height, : canvas.width]
    hidden = canvas.hidden
    if kind == "bars":
        c, s = np.cos(a + 1), np.sin(a + 1)
        u, v = canvas.x * np.float32(c) + canvas.y * np.float32(s), canvas.y * np.float32(c) - canvas.x * np.float32(s) * np.float32(0.8)
        period, bar, soft = rng.uniform(120, 400), rng.uniform(0.2, 0.5), rng.uniform(1.5, 8)
        off = np.abs((u + rng.uniform(0, 400)) % period - period / 2)
        dark = np.clip((period * bar / 2 - off) / soft + 0.5, 0, 1)
        cross = rng.uniform(200, 500)
        off = np.abs((v + rng.uniform(0, 400)) % cross - cross / 2)
        dark = np.maximum(dark, np.clip((cross * 0.08 - off) / soft + 0.5, 0, 1))
        hidden = np.maximum(hidden, dark)
    if kind == "leaves":
        n = noise(canvas.x, canvas.y, rng.uniform(2.5, 6), 1.9)
        hidden = np.maximum(hidden, np.clip((n - rng.uniform(-0.3, 0.5)) / rng.uniform(0.15, 0.7) + 0.5, 0, 1))
    if kind == "own-shadow":
        size = rng.uniform(0.7, 1.2) * reach
        body = unary_union(
            [
                Point(0, 0).buffer(0.26),
                affinity.scale(Point(0, -0.75).buffer(0.5, 32), 1.15, 0.9),
                LineString([(0.25, -0.5), (0.45, -0.05), (0.2, 0.1)]).buffer(0.09),
                Polygon([(-0.55, -0.8), (0.55, -0.8), (0.7, -4), (-0.7, -4)]),
            ]
        )
        body = affinity.rotate(affinity.scale(body, size, size, origin=(0, 0)), np.degrees(a), origin=(0, 0))
        at = middle + rng.normal(0, 0.35 * reach, 2)
        found = canvas.window(affinity.translate(body, *at), grow=60)
        if found:
            where, share = found
            s = wide_blur(share, rng.uniform(3, 18) / canvas.mm)
            hidden = hidden.copy()
            hidden[where] = np.maximum(hidden[where], s)
    full = ambient_tint * (1 - direct_share)
    light_a, light_d = up(ambient), up(direct) * (1 - hidden) * np.float32(direct_share)
    out = canvas.albedo
    d = canvas.dim
    for k in range(3):
        out[..., k] *= (light_a * full[k] + light_d * direct_tint[k]) * d
    lobe_at = rng.normal(0, 0.5 * reach, 2)
    lobe = np.exp(-((x - lobe_at[0]) ** 2 + (y - lobe_at[1]) ** 2) / (rng.uniform(0.15, 0.6) * reach) ** 2)
    lobe = up(lobe * (rng.uniform(2, 5) if kind == "flash" else rng.uniform(0, 1.5)) + 0.3)
    out += (np.maximum(canvas.gloss, 0) * lobe * (1 - 0.8 * hidden))[..., None]
    return out


def photograph(light, rng, careful, about):
    """Linear light → the phone's 8-bit picture, RGB."""
    h, w = light.shape[:2]
    y, x = np.ogrid[:h, :w]
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2).astype(np.float32) / (w * w + h * h) * 4
    fall = 1 / (1 + rng.uniform(0.1, 0.5 if careful else 0.9) * r2) ** 2
    sample = luminance(light[::16, ::16])
    bright = np.percentile(sample, 96)
    gain = rng.uniform(0.7, 0.95) / max(bright, 1e-4) * 2 ** (rng.normal(0, 0.12) if careful else rng.normal(0, 0.35))
    grey = light[::16, ::16].reshape(-1, 3).mean(0)
    balance = (grey.mean() / grey) ** rng.uniform(0.0, 0.5)
    for k in range(3):
        light[..., k] *= fall * np.float32(gain * balance[k])
    sigma = rng.uniform(0.4, 0.8) if careful else rng.uniform(0.45, 1.5)
    light = cv2.GaussianBlur(light, (0, 0), sigma)
    motion = 0.0
    if not careful and rng.random() < 0.2:
        motion = rng.uniform(1.5, 4.5)
        n = 2 * int(np.ceil(motion)) + 3
        k = np.zeros((n * 8, n * 8), np.float32)
        a = rng.uniform(0, np.pi)
        c, d = n * 4, np.array([np.cos(a), np.sin(a)]) * motion * 4
        cv2.line(k, (int(c - d[0]), int(c - d[1])), (int(c + d[0]), int(c + d[1])), 1.0, 6, cv2.LINE_AA)
        k = cv2.resize(k, (n, n), interpolation=cv2.INTER_AREA)
        light = cv2.filter2D(light, -1, k / k.sum())
    grain = np.exp(rng.uniform(np.log(2e-5), np.log(3e-4 if careful else 2e-3)))
    # Grain repeats after 1,031 pixels, which nobody sees.
    noise = rng.standard_normal((1031, 1031, 3), dtype=np.float32)
    smoothing = rng.uniform(0.0, 0.8)
    if smoothing > 0.3:
        noise = cv2.GaussianBlur(noise, (0, 0), smoothing) * (1 + smoothing)
    for top in range(0, h, 1031):
        for left in range(0, w, 1031):
            part = light[top : top + 1031, left : left + 1031]
            spread = cv2.sqrt(np.maximum(part, 0) * np.float32(grain) + np.float32(grain * 0.02))
            part += noise[: part.shape[0], : part.shape[1]] * spread
    steps = np.linspace(0, 1, 4096)
    curve = np.where(steps <= 0.0031308, 12.92 * steps, 1.055 * steps ** (1 / 2.4) - 0.055)
    bend = rng.uniform(0, 0.25 if careful else 0.5)
    curve = curve + bend * (smooth_step(curve) - curve)
    table = np.clip(curve * 255 + 0.5, 0, 255).astype(np.uint8)
    light *= 4095
    picture = table[np.clip(light, 0, 4095, out=light).astype(np.uint16)]
    sharpen = rng.uniform(0, 0.8) if careful else rng.uniform(0, 1.5)
    if sharpen > 0.1:
        soft = cv2.GaussianBlur(picture, (0, 0), rng.uniform(0.8, 1.8))
        picture = cv2.addWeighted(picture, 1 + sharpen, soft, -sharpen, 0)
    about.update(
        blur_px=round(float(np.hypot(sigma, motion / 3.4)), 2),
        motion_px=round(float(motion), 1),
        grain=float(f"{grain:.1e}"),
        sharpen=round(float(sharpen), 2),
    )
    return picture
