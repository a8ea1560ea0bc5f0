"""The two networks, shaped for the runtime that the product uses.

tract runs 1 x 1 convolutions as plain matrix products, and narrow 3 x 3 ones slowly: the
reader does most of its work as a 3 x 3 per channel and a 1 x 1 over the channels (`Apart`).
Finders of that kind were tried; see models/README.md.
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


class Finder(nn.Module):
    """Where are lines of digits?

    In: N x 1 x H x W, luma / 127.5 - 1; H and W multiples of 32.
    Out: N x 7 x H/4 x W/4: score logit; cos, sin of the reading direction; up vector x, y;
    log2(digit height / 12 px); signed distance to the middle line over the height.
    """

    def __init__(self):
        super().__init__()
        self.s2 = Conv(1, 12, stride=2)
        self.s4 = nn.Sequential(Conv(12, 24, stride=2), Conv(24, 24))
        self.s8 = nn.Sequential(Conv(24, 40, stride=2), Conv(40, 40))
        self.s16 = nn.Sequential(Conv(40, 56, stride=2), Conv(56, 56), Conv(56, 56))
        self.s32 = nn.Sequential(Conv(56, 64, stride=2), Conv(64, 64))
        self.up16 = Conv(64 + 56, 56, 1)
        self.mix16 = Conv(56, 56)
        self.up8 = Conv(56 + 40, 40, 1)
        self.mix8 = Conv(40, 40)
        self.up4 = Conv(40 + 24, 24, 1)
        self.mix4 = Conv(24, 32)
        self.head = nn.Conv2d(32, 7, 1)

    def forward(self, x):
        a = self.s4(self.s2(x))
        b = self.s8(a)
        c = self.s16(b)
        d = self.s32(c)
        c = self.mix16(self.up16(torch.cat([twice(d), c], 1)))
        b = self.mix8(self.up8(torch.cat([twice(c), b], 1)))
        a = self.mix4(self.up4(torch.cat([twice(b), a], 1)))
        return self.head(a)


def twice(x):
    return F.interpolate(x, scale_factor=2, mode="nearest")


class Reader(nn.Module):
    """Which character stands in each column of a rectified strip?

    In: N x 1 x 32 x W, (luma - mean) / (deviation + 6) of the strip; W a multiple of 4.
    Out: N x 16 x 1 x W/2 logits: 6 kinds (none, digit, colon, semicolon, dot, other),
    then the digits 0 to 9, to be taken given that a digit stands there.
    """

    def __init__(self):
        super().__init__()
        self.body = nn.Sequential(
            Conv(1, 24, stride=2),
            Conv(24, 48, stride=(2, 1)),
            Apart(48, 64),
            Apart(64, 64),
            Apart(64, 96, stride=(2, 1)),
            Apart(96, 112),
            Conv(112, 144, (4, 1), pad=(0, 0)),
            Apart(144, 144, (1, 7)),
            Apart(144, 144, (1, 7)),
            nn.Dropout(0.05),
            Apart(144, 144, (1, 7)),
        )
        self.head = nn.Conv2d(144, 16, 1)

    def forward(self, x):
        return self.head(self.body(x))


def fused(net):
    """A copy for use: batch norms folded into their convolutions."""
    net = copy.deepcopy(net).eval()
    for module in net.modules():
        if isinstance(module, Conv):
            module[0] = nn.utils.fusion.fuse_conv_bn_eval(module[0], module[1])
            module[1] = nn.Identity()
    return net
