"""The file of weights that the program carries.

skin net 1
conv FROM IN OUT SIZE STEP GROUPS relu|plain     one line for each step; values are numbered, 0 is the picture,
add A B                                          each step makes the next
double A
end
weights and biases of the convolutions in their order, 16-bit floats, little end first
SHA-256 of all that, 32 bytes
"""

import hashlib

import numpy as np


class Writer:
    def __init__(self):
        self.lines, self.numbers, self.values = ["skin net 1"], [], 0

    def step(self, line):
        self.lines.append(line)
        self.values += 1
        return self.values

    def conv(self, x, weight, bias, step, groups, relu):
        out, each, size, _ = weight.shape
        self.numbers += [np.asarray(weight, np.float16).ravel(), np.asarray(bias, np.float16).ravel()]
        return self.step(f"conv {x} {each * groups} {out} {size} {step} {groups} {'relu' if relu else 'plain'}")

    def add(self, a, b):
        return self.step(f"add {a} {b}")

    def double(self, a):
        return self.step(f"double {a}")

    def bytes(self):
        body = ("\n".join(self.lines + ["end"]) + "\n").encode() + np.concatenate(self.numbers).astype("<f2").tobytes()
        return body + hashlib.sha256(body).digest()


def read(data):
    """The steps of a file: (name, numbers, weight, bias)."""
    body, check = data[:-32], data[-32:]
    if hashlib.sha256(body).digest() != check:
        raise ValueError("the file of weights is damaged")
    end = body.index(b"\nend\n") + 5
    numbers = np.frombuffer(body[end:], "<f2").astype(np.float32)
    steps, at = [], 0
    for line in body[:end].decode().split("\n")[1:-2]:
        name, *rest = line.split()
        if name != "conv":
            steps.append((name, [int(v) for v in rest], None, None))
            continue
        source, a, b, size, step, groups = (int(v) for v in rest[:6])
        n = b * (a // groups) * size * size
        weight, bias = numbers[at : at + n].reshape(b, a // groups, size, size), numbers[at + n : at + n + b]
        at += n + b
        steps.append((name, [source, step, groups, rest[6] == "relu"], weight, bias))
    assert at == len(numbers)
    return steps
