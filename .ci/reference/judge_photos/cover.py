"""Exact area coverage of pixels by polygons: no supersampling, so no bias of the edge."""

import numpy as np


def cover(rings, x0, y0, width, height):
    """Share of each pixel inside the rings (px, pixel centres at whole numbers), holes running the other way round than outer rings."""
    a = np.concatenate([r for r in rings])
    b = np.concatenate([np.roll(r, -1, axis=0) for r in rings])
    shift = np.array([x0 - 0.5, y0 - 0.5])
    a, b = a - shift, b - shift
    # Edges clipped to the rows of the window.
    dy = b[:, 1] - a[:, 1]
    keep = (np.abs(dy) > 1e-12) & (np.maximum(a[:, 1], b[:, 1]) > 0) & (np.minimum(a[:, 1], b[:, 1]) < height)
    a, b, dy = a[keep], b[keep], dy[keep]
    out = np.zeros((height, width), np.float32)
    if len(a) == 0:
        return out
    t_of = lambda y: (y - a[:, 1]) / dy
    t0, t1 = t_of(0.0), t_of(float(height))
    lo, hi = np.clip(np.minimum(t0, t1), 0, 1), np.clip(np.maximum(t0, t1), 0, 1)
    d = b - a
    a, b = a + d * lo[:, None], a + d * hi[:, None]
    # Left of the window counts in its first column, right of it nowhere.
    a[:, 1], b[:, 1] = np.clip(a[:, 1], 0, height), np.clip(b[:, 1], 0, height)
    parts, times = [np.arange(len(a)), np.arange(len(a))], [np.zeros(len(a)), np.ones(len(a))]
    for k, most in ((0, width), (1, height)):
        p, q = a[:, k], b[:, k]
        first = np.clip(np.floor(np.minimum(p, q)) + 1, 0, most + 1)
        last = np.clip(np.ceil(np.maximum(p, q)) - 1, -1, most)
        count = np.maximum(last - first + 1, 0).astype(int)
        which = np.repeat(np.arange(len(a)), count)
        start = np.repeat(np.cumsum(count) - count, count)
        line = first[which] + np.arange(len(which)) - start
        parts.append(which)
        times.append((line - p[which]) / (q - p)[which])
    part, time = np.concatenate(parts), np.concatenate(times)
    order = np.lexsort((time, part))
    part, time = part[order], time[order]
    same = part[1:] == part[:-1]
    e, s, t = part[1:][same], time[:-1][same], time[1:][same]
    d = b - a
    p, q = a[e] + d[e] * s[:, None], a[e] + d[e] * t[:, None]
    middle = (p + q) / 2
    rise = q[:, 1] - p[:, 1]
    row = np.clip(np.floor(middle[:, 1]), 0, height - 1).astype(int)
    column = np.floor(middle[:, 0]).astype(int)
    inside = np.where(column < 0, 1.0, 1.0 - (middle[:, 0] - column))
    column = np.clip(column, 0, width)
    stride = width + 2
    sums = np.zeros(height * stride, np.float32)
    np.add.at(sums, row * stride + column, (rise * inside).astype(np.float32))
    np.add.at(sums, row * stride + column + 1, (rise * (1 - inside)).astype(np.float32))
    area = np.cumsum(sums.reshape(height, stride), axis=1)[:, :width]
    return np.clip(np.abs(area, out=area), 0, 1, out=area)
