"""How well a file of weights finds skin on scenes that it was not trained on, by ONNX Runtime.

python3 judge.py SKIN.NET [FIRST [COUNT [WORKERS]]]     seeds FIRST and up; 8000000 if not said: never trained on
"""

import functools
import multiprocessing
import sys
from pathlib import Path

import cv2
import numpy as np
import onnxruntime

import scene

sys.path.append(str(Path(__file__).parents[1] / ".ci/reference"))
from check_net import graph  # noqa: E402

NAMES = ("skin", "inside of an inked net line", "skin that is lighter or darker than the ground about it")


@functools.lru_cache(None)
def session(path):
    cv2.setNumThreads(1)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(graph(Path(path).read_bytes()), options, providers=["CPUExecutionProvider"])


def overlaps(task):
    """Overlap (intersection by union) at 512 x 384, by the numbers of NAMES; what is smaller than 200 pixels is not asked for."""
    path, seed = task
    s = scene.sample(seed)
    s = np.dstack(
        [cv2.resize(np.ascontiguousarray(s[..., k : k + 3]), (512, 384), interpolation=cv2.INTER_AREA) for k in (0, 3)]
    )
    x = (s[..., :3].astype(np.float32) / 255 - 0.5) / 0.25
    answer = session(path).run(None, {"v0": x.transpose(2, 0, 1)[None]})[0][0] > 0
    grey = s[..., :3].astype(float) @ [0.3, 0.59, 0.11]
    out = []
    for k in (0, 1):
        truth = s[..., 4 + k] > 127
        if truth.sum() < 200:
            continue
        overlap = (answer[4 + k] & truth).sum() / (answer[4 + k] | truth).sum()
        out.append((k, overlap))
        ring = (cv2.dilate(truth.astype(np.uint8), np.ones((15, 15))) > 0) & ~truth
        if k == 0 and ring.any() and abs(np.median(grey[truth]) - np.median(grey[ring])) > 25:
            out.append((2, overlap))
    return out


def main():
    first, count, workers = [int(v) for v in sys.argv[2:]] + [8_000_000, 300, 1][len(sys.argv) - 2 :]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        found = [
            v
            for values in pool.imap(overlaps, [(sys.argv[1], seed) for seed in range(first, first + count)])
            for v in values
        ]
    for k, name in enumerate(NAMES):
        v = np.array([overlap for i, overlap in found if i == k])
        print(
            f"{name}: {len(v)} photos, overlap mean {v.mean():.4f}, middle {np.median(v):.4f}, 25 % {np.quantile(v, 0.25):.4f}, "
            f"10 % {np.quantile(v, 0.1):.4f}; {100 * (v > 0.9).mean():.0f} % over 0.9"
        )


if __name__ == "__main__":
    main()
