"""Runs the networks of assets/skin.net and assets/near.net by ONNX Runtime, which shares nothing with the program, on a fixed picture.

usage: check_net.py ROOT            compares with tests/data/skin_net.json and near_net.json, which the unit tests of the program compare with
       check_net.py ROOT --write    writes these files anew, after the weights changed

Fails where an answer differs by more than 0.002; the scores run to some +-20.
"""
import hashlib
import json
import sys
from pathlib import Path

import numpy as np
import onnxruntime
from onnx import TensorProto, helper, numpy_helper

WIDTH, HEIGHT = 512, 320


def picture():
    """Whole numbers only, so that any program makes the same: stripes, a mat's grid, a light disc with dark lines."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    far = (x - 260) ** 2 + (y - 150) ** 2
    out = np.stack([40 + (x * 3 + y) % 23, 90 + (x + y * 2) % 17, 70 + (x * y) % 13], -1)
    out[(x % 40 < 2) | (y % 40 < 2)] = [150, 190, 160]
    skin = far < 110 ** 2
    out[skin] = np.stack([215 - (x + 2 * y) // 16 % 5 * 8, 190 - (x + 2 * y) // 16 % 5 * 8, 140 + (x * 7 + y * 5) % 11], -1)[skin]
    out[(far > 80 ** 2) & (far < 83 ** 2)] = [30, 30, 40]
    out[(abs(x - y - 100) < 2) & (far < 60 ** 2)] = [30, 30, 40]
    out[20:110, 380:500] = [235, 235, 230]
    return out.astype(np.uint8)


def graph(data):
    """The file's steps as an ONNX model."""
    body, check = data[:-32], data[-32:]
    assert hashlib.sha256(body).digest() == check, "damaged"
    end = body.index(b"\nend\n") + 5
    numbers = np.frombuffer(body[end:], "<f2").astype(np.float32)
    nodes, weights, at = [], [helper.make_tensor("twice", TensorProto.FLOAT, [4], [1, 1, 2, 2])], 0
    lines = body[:end].decode().split("\n")[1:-2]
    for i, line in enumerate(lines, 1):
        name, *rest = line.split()
        out = f"v{i}"
        if name == "conv":
            source, a, b, size, step, groups = (int(v) for v in rest[:6])
            n = b * (a // groups) * size * size
            weights.append(numpy_helper.from_array(numbers[at:at + n].reshape(b, a // groups, size, size), f"w{i}"))
            weights.append(numpy_helper.from_array(numbers[at + n:at + n + b], f"b{i}"))
            at += n + b
            relu = rest[6] == "relu"
            nodes.append(helper.make_node("Conv", [f"v{source}", f"w{i}", f"b{i}"], [out + "raw" if relu else out], kernel_shape=[size, size],
                                          strides=[step, step], pads=[size // 2] * 4, group=groups))
            if relu:
                nodes.append(helper.make_node("Relu", [out + "raw"], [out]))
        elif name == "add":
            nodes.append(helper.make_node("Add", [f"v{v}" for v in rest], [out]))
        else:
            nodes.append(helper.make_node("Resize", [f"v{rest[0]}", "", "twice"], [out], mode="nearest", nearest_mode="floor",
                                          coordinate_transformation_mode="asymmetric"))
    assert at == len(numbers)
    nodes.append(helper.make_node("DepthToSpace", [f"v{len(lines)}"], ["answer"], blocksize=2, mode="CRD"))
    shape = lambda name, c: helper.make_tensor_value_info(name, TensorProto.FLOAT, [1, c, "h", "w"])
    model = helper.make_model(helper.make_graph(nodes, "skin", [shape("v0", int(lines[0].split()[2]))], [shape("answer", None)], weights),
                              opset_imports=[helper.make_opsetid("", 17)])
    model.ir_version = 8
    return model.SerializeToString()


def answers(data, channels):
    """Six scores for each pixel; channels 0 to 1, sides that are multiples of 64."""
    session = onnxruntime.InferenceSession(graph(data), providers=["CPUExecutionProvider"])
    x = (channels.astype(np.float32) - 0.5) / 0.25
    return session.run(None, {"v0": x.transpose(2, 0, 1)[None]})[0][0]


def kept(path, found, write):
    """Holds scores at some places against those kept in a file, or keeps them; how far they differ at most."""
    y, x = np.mgrid[3:HEIGHT:29, 5:WIDTH:31]
    places = [[int(a), int(b)] for a, b in zip(x.ravel(), y.ravel())]
    scores = [[round(float(v), 5) for v in found[:, b, a]] for a, b in places]
    if write:
        path.write_text(json.dumps({"places": places, "scores": scores}, separators=(",", ":")) + "\n")
    before = json.loads(path.read_text())
    assert before["places"] == places
    worst = np.abs(np.array(before["scores"]) - np.array(scores)).max()
    print(f"{path.name}: {6 * len(places)} scores from {min(map(min, scores)):.1f} to {max(map(max, scores)):.1f}: differ by {worst:.6f} at most")
    return worst


def main():
    root, write = Path(sys.argv[1]), "--write" in sys.argv
    colours = picture() / 255
    # What the first network may say of it: two slopes.
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    slopes = np.stack([(x + 2 * y) % 256, (3 * x + y) % 256], -1) / 255
    files = [("skin", colours), ("near", np.concatenate([colours, slopes], -1))]
    worst = [
        kept(root / f"tests/data/{name}_net.json", answers((root / f"assets/{name}.net").read_bytes(), channels), write)
        for name, channels in files
    ]
    sys.exit(0 if max(worst) < 0.002 else 1)


if __name__ == "__main__":
    main()
