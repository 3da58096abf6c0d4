"""A pinhole camera with radial and a little tangential distortion; the plane of bench and skin is z = 0, y runs away from the viewer."""

import cv2
import numpy as np


class Camera:
    def __init__(self, width, height, focal, k1, k2, p1, p2, tilt, heading, roll, off_centre):
        self.width, self.height, self.focal = width, height, focal
        self.k1, self.k2, self.p1, self.p2 = k1, k2, p1, p2
        self.centre = np.array([(width - 1) / 2 + off_centre[0], (height - 1) / 2 + off_centre[1]])
        self.tilt = tilt
        forward = np.array([np.sin(tilt) * np.cos(heading), np.sin(tilt) * np.sin(heading), -np.cos(tilt)])
        up = np.array([-np.sin(roll), np.cos(roll), 0.0])
        up -= forward * (up @ forward)
        up /= np.linalg.norm(up)
        self.turn = np.stack([np.cross(forward, up), -up, forward])
        self.forward = forward
        self.place = np.zeros(3)

    def aim(self, points, margin):
        """As near as shows all points (mm, n × 2) with a margin (share of the frame)."""
        target = np.array([*(points.min(0) + points.max(0)) / 2, 0.0])
        near, far = 50.0, 20000.0
        for _ in range(40):
            middle = (near + far) / 2
            self.place = target - self.forward * middle
            p = self.project(points)
            m = margin * min(self.width, self.height)
            # Shift the aim so that what is seen lies in the middle of the frame.
            for _ in range(3):
                off = (p.min(0) + p.max(0)) / 2 - self.centre
                scale = middle / self.focal
                move = (self.turn[0] * off[0] + self.turn[1] * off[1]) * scale
                move[2] = 0
                self.place = self.place + move * 0.9
                p = self.project(points)
            inside = (p.min(0) > m).all() and p[:, 0].max() < self.width - m and p[:, 1].max() < self.height - m
            near, far = (near, middle) if inside else (middle, far)

    def bend(self, n):
        r2 = (n**2).sum(-1)
        radial = 1 + self.k1 * r2 + self.k2 * r2 * r2
        x, y = n[..., 0], n[..., 1]
        return np.stack(
            [x * radial + 2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x), y * radial + self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y], -1
        )

    def project(self, points, z=0.0):
        """Points of the plane, or above it by z, mm → px."""
        world = np.concatenate([points, np.broadcast_to(np.asarray(z, float).reshape(-1, 1) if np.ndim(z) else z, (len(points), 1))], 1)
        seen = (world - self.place) @ self.turn.T
        n = seen[:, :2] / np.maximum(seen[:, 2:], 1.0)
        return self.bend(n) * self.focal + self.centre

    def plane(self, step=8):
        """For each pixel the point of the plane that it shows, mm: interpolated, for textures only."""
        w, h = -(-self.width // step) + 1, -(-self.height // step) + 1
        x, y = np.meshgrid(np.arange(w) * step, np.arange(h) * step)
        d = (np.stack([x, y], -1) - self.centre) / self.focal
        n = d.copy()
        for _ in range(12):
            n = n + (d - self.bend(n))
        rays = np.concatenate([n, np.ones((*n.shape[:2], 1))], -1) @ self.turn
        reach = -self.place[2] / np.minimum(rays[..., 2], -0.05)
        p = (self.place + rays * reach[..., None])[..., :2].astype(np.float32)
        # Nodes lie on every step-th pixel: sample between them.
        u, v = np.meshgrid(np.arange(self.width, dtype=np.float32) / step, np.arange(self.height, dtype=np.float32) / step)
        both = cv2.remap(p, u, v, cv2.INTER_LINEAR)
        return np.ascontiguousarray(both[..., 0]), np.ascontiguousarray(both[..., 1])

    def mm_a_pixel(self, point):
        p = self.project(np.array([point, point + [1, 0], point + [0, 1]]))
        (a, b), (c, d) = p[1] - p[0], p[2] - p[0]
        return 1 / np.sqrt(abs(a * d - b * c))
