"""A camera's faults on whole batches, on the GPU: each picture gets its own.

Pictures are N x 1 x H x W in 0..255; `h` is the usual digit height in px of each, because
what a blur or a noise spoils depends on the size of what is looked at.
"""

import math

import torch
from torch.nn import functional as F

from light import CURVES

BLUR_SIDE = 15


def chance(x, p):
    """1 with probability p, else 0, per picture."""
    return (torch.rand((len(x), 1, 1, 1), device=x.device) < p).float()


def between(x, low, high):
    return torch.rand((len(x), 1, 1, 1), device=x.device) * (high - low) + low


def light(x):
    """Gamma, exposure and inversion."""
    x = (x / 255).clamp(1e-4, 1) ** torch.exp(between(x, -0.5, 0.5))
    dim = chance(x, 0.25)
    x = x * (1 - dim * between(x, 0.0, 0.8)) + dim * between(x, -0.05, 0.2)
    flip = chance(x, 0.12)
    return 255 * (x * (1 - flip) + (1 - x) * flip)


def glare(x):
    """A bright spot or streak, and highlights that spread and clip."""
    n, _, height, width = x.shape
    yy = torch.arange(height, device=x.device).view(1, 1, -1, 1)
    xx = torch.arange(width, device=x.device).view(1, 1, 1, -1)
    theta = between(x, 0, math.pi)
    dx, dy = xx - between(x, 0, width), yy - between(x, 0, height)
    along, aside = dx * theta.cos() + dy * theta.sin(), dy * theta.cos() - dx * theta.sin()
    spot = torch.exp(-((aside / between(x, 8, 70)) ** 2) - (along / between(x, 20, 400)) ** 2)
    x = x + chance(x, 0.2) * spot * between(x, 15, 160)
    spread = F.avg_pool2d(F.avg_pool2d(x.clamp(0, 255), 7, 1, 3), 7, 1, 3)
    return (x + chance(x, 0.12) * spread * between(x, 0.1, 0.7)).clamp(0, 255)


def blur(x, h):
    """Defocus and a curved way of the hand, as one kernel a picture, of its light."""
    n, device = len(x), x.device
    r = BLUR_SIDE // 2
    yy, xx = torch.meshgrid(*[torch.arange(-r, r + 1, device=device, dtype=torch.float32)] * 2, indexing="ij")
    yy, xx = yy.view(1, 1, BLUR_SIDE, BLUR_SIDE), xx.view(1, 1, BLUR_SIDE, BLUR_SIDE)
    h = h.view(-1, 1, 1, 1).clamp(5, 30)
    sigma = (0.25 + chance(x, 0.55) * between(x, 0, 0.1) * h).clamp(max=2.5)
    reach = chance(x, 0.35) * between(x, 0, 1) ** 1.5 * 0.4 * h
    theta, bend = between(x, 0, math.pi), torch.randn_like(h) * 0.4
    kernel = torch.zeros((n, 1, BLUR_SIDE, BLUR_SIDE), device=device)
    for t in torch.linspace(-0.5, 0.5, 11).tolist():
        along, aside = reach * t, reach * bend * (t * t - 0.08)
        px, py = along * theta.cos() - aside * theta.sin(), along * theta.sin() + aside * theta.cos()
        kernel += torch.exp(-((xx - px) ** 2 + (yy - py) ** 2) / (2 * sigma**2))
    kernel /= kernel.sum((2, 3), keepdim=True)
    curve = between(x, *CURVES)
    lit = (x / 255).clamp(1e-4, 1) ** curve
    padded = F.pad(lit.transpose(0, 1), (r, r, r, r), mode="replicate")
    lit = F.conv2d(padded, kernel, groups=n).transpose(0, 1)
    return 255 * lit.clamp(1e-8, 1) ** (1 / curve)


def noise(x):
    """Fine grains, or the coarse ones that a camera's smoothing leaves in the dark."""
    fine = torch.randn_like(x)
    small = torch.randn((len(x), 1, x.shape[2] // 2, x.shape[3] // 2), device=x.device)
    coarse = F.interpolate(small, scale_factor=2, mode="bilinear", align_corners=False) * 1.4
    kind = chance(x, 0.35)
    return x + (fine * (1 - kind) + coarse * kind) * chance(x, 0.5) * between(x, 0, 1) ** 2 * 20


def codec(x):
    """Blocks of 8 x 8 whose cosine terms are rounded, the fine ones more coarsely: what
    JPEG and MPEG codecs do at low rates, without their tables."""
    n, _, height, width = x.shape
    k = torch.arange(8, device=x.device, dtype=torch.float32)
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] *= math.sqrt(0.5)
    dy, dx = torch.randint(0, 8, (2,)).tolist()
    y = F.pad(x, (dx, 8 - dx, dy, 8 - dy), mode="replicate")
    blocks = y.view(n, (height + 8) // 8, 8, (width + 8) // 8, 8).transpose(2, 3)
    terms = basis @ blocks @ basis.T
    ramp = 1 + (k[:, None] + k[None]) * 0.6
    step = (3 * (torch.rand((n, 1, 1, 1, 1), device=x.device) * 2.1).exp()) * ramp
    terms = (terms / step).round() * step
    y = (basis.T @ terms @ basis).transpose(2, 3).reshape(n, 1, height + 8, width + 8)
    used = chance(x, 0.4)
    return x * (1 - used) + used * y[:, :, dy : dy + height, dx : dx + width]


def spoiled_again(x, h):
    """A quarter of the pictures out of focus or shaken, another quarter through a codec."""
    n = len(x) // 4
    return torch.cat([blur(x[:n], h[:n]), codec(x[n : 2 * n]), x[2 * n :]])


def film(x, h):
    """All of it, in the order in which light goes."""
    return codec(noise(blur(glare(light(x)), h))).clamp(0, 255).round()
