"""The network: a picture to classes, in steps that a few lines of code can run: convolution, sum, doubling, rearranging."""

import torch
import torch.nn as nn
import torch.nn.functional as F

MEAN, SPREAD = 0.5, 0.25
# Six answers for each pixel: scores of ground, skin, ink on skin, card; then skin with its ink, and inside of an inked net line.
ANSWERS = 6
MULTIPLE = 64


class Conv(nn.Module):
    """A convolution, its normalisation, and perhaps the cut at nought."""

    def __init__(self, a, b, size=1, step=1, deep=False, relu=True):
        super().__init__()
        self.conv = nn.Conv2d(a, b, size, step, size // 2, groups=a if deep else 1, bias=False)
        self.norm = nn.BatchNorm2d(b)
        self.relu = relu

    def forward(self, x):
        x = self.norm(self.conv(x))
        return F.relu(x) if self.relu else x

    def write(self, out, x):
        w = self.conv.weight.detach().double()
        n = self.norm
        k = n.weight.detach().double() / torch.sqrt(n.running_var.double() + n.eps)
        bias = n.bias.detach().double() - n.running_mean.double() * k
        return out.conv(x, w * k[:, None, None, None], bias, self.conv.stride[0], self.conv.groups, self.relu)


class Block(nn.Module):
    """Wider, each channel by itself, narrower; and what came in is added."""

    def __init__(self, a, b, size=3, step=1, wider=3):
        super().__init__()
        self.parts = nn.Sequential(
            Conv(a, a * wider), Conv(a * wider, a * wider, size, step, True), Conv(a * wider, b, relu=False)
        )
        self.adds = a == b and step == 1

    def forward(self, x):
        y = self.parts(x)
        return x + y if self.adds else y

    def write(self, out, x):
        y = x
        for p in self.parts:
            y = p.write(out, y)
        return out.add(x, y) if self.adds else y


class Up(nn.Module):
    """Twice the size, joined with what was seen at that size on the way down."""

    def __init__(self, below, beside, width, after):
        super().__init__()
        self.below, self.beside = Conv(below, width), Conv(beside, width)
        self.after = nn.Sequential(*after)

    def forward(self, x, beside):
        return self.after(F.interpolate(self.below(x), scale_factor=2.0, mode="nearest") + self.beside(beside))

    def write(self, out, x, beside):
        y = out.add(out.double(self.below.write(out, x)), self.beside.write(out, beside))
        for p in self.after:
            y = p.write(out, y)
        return y


class Net(nn.Module):
    def __init__(self, c=(16, 32, 56, 88, 128, 152)):
        super().__init__()
        deep = lambda a, b, count, size: nn.Sequential(
            Block(a, b, size, 2), *[Block(b, b, size) for _ in range(count)]
        )
        self.down = nn.ModuleList(
            [
                nn.Sequential(Conv(3, c[0], 3, 2), Conv(c[0], c[0], 3)),
                deep(c[0], c[1], 1, 3),
                deep(c[1], c[2], 2, 5),
                deep(c[2], c[3], 3, 5),
                deep(c[3], c[4], 3, 5),
                deep(c[4], c[5], 3, 5),
            ]
        )
        two = lambda w: [Block(w, w, 3, wider=2), Block(w, w, 3, wider=2)]
        self.up = nn.ModuleList(
            [
                Up(c[5], c[4], 112, two(112)),
                Up(112, c[3], 80, two(80)),
                Up(80, c[2], 48, two(48)),
                Up(48, c[1], 32, two(32)),
                Up(32, c[0], 24, [Conv(24, 24, 3)]),
            ]
        )
        self.head = nn.Conv2d(24, 4 * ANSWERS, 3, padding=1)

    def half(self, x):
        """Answers of 2 by 2 pixels as channels."""
        seen = []
        for d in self.down:
            x = d(x)
            seen.append(x)
        for u, beside in zip(self.up, seen[-2::-1]):
            x = u(x, beside)
        return self.head(x)

    def forward(self, x):
        return F.pixel_shuffle(self.half(x), 2)

    def write(self, out):
        x, seen = 0, []
        for d in self.down:
            for p in d:
                x = p.write(out, x)
            seen.append(x)
        for u, beside in zip(self.up, seen[-2::-1]):
            x = u.write(out, x, beside)
        return out.conv(x, self.head.weight.detach().double(), self.head.bias.detach().double(), 1, 1, False)
