"""Fields of noise from tiles that repeat without a seam."""

import cv2
import numpy as np

SIDE = 512


def tile(rng, slope):
    """A tile whose amplitudes fall with the frequency to the power of slope: 0 is white, 1 cloudy, 2 smooth."""
    f = np.hypot(np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None, :])
    f[0, 0] = 1
    spectrum = (rng.normal(size=f.shape) + 1j * rng.normal(size=f.shape)) / f**slope
    spectrum[0, 0] = 0
    t = np.fft.irfft2(spectrum, (SIDE, SIDE))
    return (t / t.std()).astype(np.float32)


class Noise:
    def __init__(self, rng):
        self.rng = rng
        self.tiles = {}

    def __call__(self, x, y, grain, slope=1.0, angle=0.0, stretch=1.0):
        """Noise with mean 0 and deviation 1 at points in mm; a texel spans grain mm, stretched along the angle."""
        if slope not in self.tiles:
            self.tiles[slope] = tile(self.rng, slope)
        c, s = np.cos(angle) / grain, np.sin(angle) / grain
        o = self.rng.uniform(0, SIDE, 2)
        x, y = np.ascontiguousarray(x, np.float32), np.ascontiguousarray(y, np.float32)
        u = cv2.addWeighted(x, c / stretch, y, s / stretch, o[0])
        v = cv2.addWeighted(y, c, x, -s, o[1])
        return cv2.remap(self.tiles[slope], u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def linear(srgb):
    """sRGB 0…255 → linear 0…1."""
    c = np.asarray(srgb, np.float32) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def luminance(rgb):
    return rgb[..., 0] * 0.2126 + rgb[..., 1] * 0.7152 + rgb[..., 2] * 0.0722


def lightness(y):
    """CIE L* of a luminance 0…1."""
    return 116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y


def luminance_of(l):
    return ((l + 16) / 116) ** 3 if l > 8 else l / 903.3


def lines(d, period, width):
    """1 on lines of a width at every period of a coordinate, soft by the size of a pixel."""
    period = np.float32(period)
    d = np.asarray(d, np.float32)
    off = d / period
    off -= np.rint(off)
    off = np.abs(off) * period
    soft = max(float(np.abs(np.diff(d[d.shape[0] // 2, ::8])).mean() / 8), 0.02) + max(
        float(np.abs(np.diff(d[::8, d.shape[1] // 2])).mean() / 8), 0.02
    )
    return np.clip((np.float32(width / 2) - off) / np.float32(soft) + np.float32(0.5), 0, 1) * np.float32(min(1.0, width / soft + 0.3))
