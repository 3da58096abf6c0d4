"""Noise without seams, looked up at any place of the plane."""

import functools
import math

import cv2
import numpy as np

SIZE = 512


def _coloured(rng, power, stretch=1.0, low=0.0):
    f = np.fft.fftfreq(SIZE) * SIZE
    fx, fy = np.meshgrid(f * stretch, f)
    r = np.sqrt(fx * fx + fy * fy)
    r[0, 0] = 1
    gain = r**-power * (r > low)
    gain[0, 0] = 0
    n = np.fft.ifft2(np.fft.fft2(rng.standard_normal((SIZE, SIZE))) * gain).real
    return (n / n.std()).astype(np.float32)


@functools.lru_cache(None)
def bank():
    """Kinds of noise, mean 0 and spread 1, 512 texels a side, repeating."""
    rng = np.random.default_rng(7)
    white = rng.standard_normal((SIZE, SIZE)).astype(np.float32)
    soft = cv2.GaussianBlur(np.tile(white, (2, 2)), (0, 0), 0.8)[256:768, 256:768]
    points = rng.uniform(0, SIZE, (700, 2))
    far = np.full((3 * SIZE, 3 * SIZE), 255, np.uint8)
    for dx in (0, SIZE, 2 * SIZE):
        for dy in (0, SIZE, 2 * SIZE):
            far[(points[:, 1] + dy).astype(int), (points[:, 0] + dx).astype(int)] = 0
    cells = cv2.distanceTransform(far, cv2.DIST_L2, 5)[SIZE : 2 * SIZE, SIZE : 2 * SIZE]
    kinds = dict(
        white=soft,
        clouds=_coloured(rng, 1.6),
        rough=_coloured(rng, 1.0),
        grit=_coloured(rng, 0.4),
        grain=_coloured(rng, 0.9, 14.0),
        fibre=_coloured(rng, 0.5, 30.0, 6),
        cells=cells,
        folds=-np.abs(_coloured(rng, 1.9)),
    )
    return {k: np.ascontiguousarray((v - v.mean()) / v.std(), np.float32) for k, v in kinds.items()}


def noise(rng, kind, x, y, texel, angle=None, stretch=1.0):
    """Noise at places in mm; a texel is `texel` mm, and `stretch` times that along `angle`."""
    angle = rng.uniform(0, 2 * math.pi) if angle is None else angle
    c, s = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    ox, oy = rng.uniform(0, SIZE, 2)
    u = (x * (c / np.float32(texel * stretch)) + y * (s / np.float32(texel * stretch))) + np.float32(ox)
    v = (y * (c / np.float32(texel)) - x * (s / np.float32(texel))) + np.float32(oy)
    return cv2.remap(bank()[kind], u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def blend(a, b, t):
    """From colour a to colour b; t is a picture, 0 to 1."""
    a, t = np.asarray(a, np.float32), np.clip(np.asarray(t, np.float32), 0, 1)[..., None]
    return a + (np.asarray(b, np.float32) - a) * t
