"""The three networks, shaped for the code that runs them (`src/vision/net`).

It runs 1 x 1 convolutions as plain matrix products, fastest by far: most of the work is done as a
3 x 3 per channel and a 1 x 1 over the channels (`Apart`), and nothing but a stem stands at full size.
"""

import copy

import torch
from torch import nn
from torch.nn import functional as F


class Conv(nn.Sequential):
    """Convolution, batch norm and, unless told otherwise, ReLU."""

    def __init__(self, cin, cout, kernel=3, stride=1, pad=None, groups=1, is_linear=False):
        kernel = kernel if isinstance(kernel, tuple) else (kernel, kernel)
        if pad is None:
            pad = tuple(k // 2 for k in kernel)
        super().__init__(
            nn.Conv2d(cin, cout, kernel, stride, pad, groups=groups, bias=False),
            nn.BatchNorm2d(cout),
            nn.Identity() if is_linear else nn.ReLU(inplace=True),
        )


class Apart(nn.Sequential):
    """A convolution in two steps: over places per channel, then over channels."""

    def __init__(self, cin, cout, kernel=3, stride=1):
        super().__init__(
            Conv(cin, cin, kernel, stride, groups=cin, is_linear=True),
            Conv(cin, cout, 1),
        )


class More(nn.Module):
    """An `Apart` on top of what is there."""

    def __init__(self, planes, kernel=3):
        super().__init__()
        self.step = Apart(planes, planes, kernel)

    def forward(self, x):
        return x + self.step(x)


class Finder(nn.Module):
    """Where are lines of digits?

    In: N x 16 x H/4 x W/4: luma / 127.5 - 1 of each 4 x 4 block, row by row, as channels;
    H and W multiples of 32.
    Out: N x 28 x H/8 x W/8: seven values for each of the four cells of 4 x 4 px in a block
    of 8 x 8 px, value by value, cells row by row: score logit; cos, sin of the reading
    direction; up vector x, y; log2(digit height / 12 px); signed distance to the middle
    line over the height.
    """

    def __init__(self, a=24, b=56, c=88, d=128):
        super().__init__()
        self.s4 = Conv(16, a)
        self.s8 = nn.Sequential(Conv(a, b, stride=2), More(b), More(b))
        self.s16 = nn.Sequential(Conv(b, c, stride=2), Conv(c, c), More(c, 5))
        self.s32 = nn.Sequential(Conv(c, d, stride=2), More(d, 5), More(d, 5))
        self.down16, self.mix16 = Conv(d, c, 1, is_linear=True), Conv(c, c)
        self.down8, self.mix8 = Conv(c, b, 1, is_linear=True), nn.Sequential(More(b), More(b))
        self.head = nn.Conv2d(b, 28, 1)

    def forward(self, x):
        b = self.s8(self.s4(x))
        c = self.s16(b)
        c = self.mix16(F.relu(c + twice(self.down16(self.s32(c)))))
        return self.head(self.mix8(F.relu(b + twice(self.down8(c)))))


def twice(x):
    return F.interpolate(x, scale_factor=2, mode="nearest")


class Reader(nn.Module):
    """Which character stands in each column of a rectified strip?

    In: N x 1 x 32 x W, (luma - mean) / (deviation + 6) of the strip; W a multiple of 4.
    Out: N x 20 x 1 x W/2: logits of 8 kinds (none, digit, colon, semicolon, dot, other, a
    digit upside down, a digit in a mirror), logits of the digits 0 to 9, to be taken given
    that a digit stands there; then, for the character there, how far its middle lies below
    the strip's and log2 of its height, both against the 20 px for which strips are cut.
    """

    def __init__(self):
        super().__init__()
        self.body = nn.Sequential(
            Conv(1, 32, stride=2),
            Conv(32, 64, stride=(2, 1)),
            Apart(64, 96),
            Apart(96, 96),
            Apart(96, 144, stride=(2, 1)),
            Apart(144, 160),
            More(160),
            Conv(160, 208, (4, 1), pad=(0, 0)),
            More(208, (1, 7)),
            More(208, (1, 7)),
            More(208, (1, 7)),
            nn.Dropout(0.05),
            More(208, (1, 7)),
        )
        self.head = nn.Conv2d(208, 20, 1)

    def forward(self, x):
        return self.head(self.body(x))


class HalfDay(nn.Module):
    """Where around a clock is AM or PM written?

    In: N x 16 x H/4 x W/4: luma / 127.5 - 1 of each 4 x 4 block, row by row, as channels; H and W multiples of 16.
    Out: N x 1 x H/8 x W/8: logit that the letters cover the middle of that block of 8 x 8 px.

    At full size it sees 60 px to each side, which is less than a word in letters as tall as the digits; at half of
    it 140.
    """

    def __init__(self, a=24, b=48, c=64):
        super().__init__()
        self.s8 = nn.Sequential(Conv(16, a), Conv(a, b, stride=2), Conv(b, c), More(c, 5))
        self.s16 = nn.Sequential(Conv(c, c, stride=2), More(c, 7), More(c, 7))
        self.down8 = Conv(c, c, 1, is_linear=True)
        self.mix8 = nn.Sequential(More(c, 5), nn.Dropout(0.05), More(c, 5))
        self.head = nn.Conv2d(c, 1, 1)

    def forward(self, x):
        b = self.s8(x)
        return self.head(self.mix8(F.relu(b + twice(self.down8(self.s16(b))))))


def fused(net):
    """A copy for use: batch norms folded into their convolutions."""
    net = copy.deepcopy(net).eval()
    for module in net.modules():
        if isinstance(module, Conv):
            module[0] = nn.utils.fusion.fuse_conv_bn_eval(module[0], module[1])
            module[1] = nn.Identity()
    return net
