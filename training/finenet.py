"""The fine network: a tile of the photo seen from above, and what the coarse network says of it.

Made of the parts of `net.py`.
"""

import torch.nn as nn
import torch.nn.functional as F

from net import Block, Conv, Up

# Skin, inside of an inked net line, ink on skin, ink of the arrow, ink of a relief cut, narrow gap.
ANSWERS = 6
# Red, green, blue, the coarse network's skin and inside.
CHANNELS = 5


class Net(nn.Module):
    def __init__(self, c=(24, 40, 64, 88)):
        super().__init__()
        two = lambda w: [Block(w, w, 3, wider=2), Block(w, w, 3, wider=2)]
        deep = lambda a, b, count, size: [Block(a, b, size, 2), *[Block(b, b, size) for _ in range(count)]]
        self.down = nn.ModuleList(
            [
                nn.Sequential(Conv(CHANNELS, c[0], 3, 2), Conv(c[0], c[0], 3)),
                nn.Sequential(*deep(c[0], c[1], 1, 3)),
                nn.Sequential(*deep(c[1], c[2], 2, 5)),
                nn.Sequential(*deep(c[2], c[3], 5, 5)),
            ]
        )
        self.up = nn.ModuleList(
            [
                Up(c[3], c[2], 56, two(56)),
                Up(56, c[1], 40, two(40)),
                Up(40, c[0], 32, [Conv(32, 32, 3)]),
            ]
        )
        self.head = nn.Conv2d(32, 4 * ANSWERS, 3, padding=1)

    def forward(self, x):
        seen = []
        for d in self.down:
            x = d(x)
            seen.append(x)
        for u, beside in zip(self.up, seen[-2::-1]):
            x = u(x, beside)
        return F.pixel_shuffle(self.head(x), 2)

    def write(self, out):
        x, seen = 0, []
        for d in self.down:
            for p in d:
                x = p.write(out, x)
            seen.append(x)
        for u, beside in zip(self.up, seen[-2::-1]):
            x = u.write(out, x, beside)
        return out.conv(x, self.head.weight.detach().double(), self.head.bias.detach().double(), 1, 1, False)
