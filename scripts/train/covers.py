"""What comes between a screen and the camera: fingers, bars such as cables and stands, the edge of
somebody who stands in front, and what the glass mirrors."""

import math

import cv2
import numpy as np
from PIL import Image, ImageDraw

import light

# Shares of what lies over a line; the rest are edges.
FINGERS, BARS = 0.55, 0.25
# Codes between ink and ground below which nothing is seen of a digit in noise, and from which on all
# of it is; of a dim display, from its own on.
LOST_CODES, SEEN_CODES = 5, 25


def over_a_line(rng, shape, line, margin, h):
    """Something over a part of `line`, which lies `margin` px within a picture of `shape`: a
    finger mostly over an end, a bar over any character, or an edge beside one.

    Returns how much it hides (float32, 0..1) and its brightness (float32), per px.
    """
    pick = rng.random()
    place = rng.random()
    cell = line.cells[0 if place < 0.4 else -1 if place < 0.7 else rng.integers(len(line.cells))]
    if pick < FINGERS:
        tip = (margin + cell[1] + cell[2] * rng.uniform(-1.2, 1.2),
               margin + rng.uniform(line.top - 0.4 * h, line.bottom + 0.6 * h))  # fmt: skip
        return finger(rng, shape, tip, h)
    is_bar = pick < FINGERS + BARS
    if is_bar:
        cell = line.cells[rng.integers(len(line.cells))]
    through = (margin + cell[1] + cell[2] * rng.uniform(-0.5, 0.5), margin + (line.top + line.bottom) / 2)
    return (bar if is_bar else edge)(rng, shape, through, h)


def grid(shape):
    """A column of the rows and a row of the columns of a picture of `shape` (float32)."""
    height, width = shape
    return np.arange(height, dtype=np.float32)[:, None], np.arange(width, dtype=np.float32)[None]


def turned(x, y, theta):
    """How far px at `x`, `y` lie along and aside of a direction."""
    return x * math.cos(theta) + y * math.sin(theta), y * math.cos(theta) - x * math.sin(theta)


def shade(rng, shape):
    """The brightness of a thing of one colour on which a light falls, per px."""
    height, width = shape
    level = rng.uniform(2, 230)
    across = np.linspace(0, rng.uniform(-0.3, 0.3) * level, width, dtype=np.float32)[None]
    down = np.linspace(0, rng.uniform(-0.3, 0.3) * level, height, dtype=np.float32)[:, None]
    return level + across + down


def bar(rng, shape, through, h):
    """A cable, stand or strap of one thickness that runs `through` a point at any angle, steep
    ones above all, at times bent. Returned as by `over_a_line`."""
    theta = math.pi / 2 + rng.normal(0, 0.35) if rng.random() < 0.75 else rng.uniform(0, math.pi)
    bend = rng.normal(0, 0.15) / h if rng.random() < 0.4 else 0.0
    yy, xx = grid(shape)
    along, aside = turned(xx - through[0], yy - through[1], theta)
    aside = aside + bend * along**2
    half = h * math.exp(rng.uniform(math.log(0.03), math.log(0.3)))
    soft = h * rng.uniform(0.005, 0.06)
    hides = np.clip((half - np.abs(aside)) / (2 * soft) + 0.5, 0, 1)
    round_off = 1 - rng.uniform(0, 0.5) * np.clip(np.abs(aside) / half, 0, 1) ** 2
    return hides, (shade(rng, shape) * round_off).astype(np.float32)


def edge(rng, shape, through, h):
    """Somebody or something in front that hides all on one side of a line `through` a point:
    mostly what lies left or right of it, whichever is less, at times what lies below or above.
    Returned as by `over_a_line`."""
    height, width = shape
    if rng.random() < 0.85:
        theta = (math.pi if through[0] < width / 2 else 0.0) + rng.normal(0, 0.2)
        at = through
    else:
        theta = rng.choice([-1, 1]) * math.pi / 2 + rng.normal(0, 0.05)
        at = (through[0], through[1] + math.sin(theta) * h * rng.uniform(-0.1, 0.5))
    yy, xx = grid(shape)
    beyond = (xx - at[0]) * math.cos(theta) + (yy - at[1]) * math.sin(theta)
    soft = h * math.exp(rng.uniform(math.log(0.005), math.log(0.15)))
    return np.clip(beyond / (2 * soft) + 0.5, 0, 1), shade(rng, shape).astype(np.float32)


def mirrored_light(rng, flat, line, margin, h, ink, ground):
    """A lamp or a window that the glass mirrors somewhere about a character of `line`, which lies
    `margin` px within a flat clock (float32, 0..255), whose `ink` and `ground` are codes. Returns the
    clock under it and how much of its ink is still to be seen (0..1), per px."""
    cell = line.cells[rng.integers(len(line.cells))]
    theta = rng.uniform(0, math.pi)
    yy, xx = grid(flat.shape)
    x = xx - margin - cell[1] - rng.normal(0, 0.5) * h
    y = yy - margin - (line.top + line.bottom) / 2 - rng.normal(0, 0.3) * h
    along, aside = map(np.abs, turned(x, y, theta))
    long, wide = (h * math.exp(rng.uniform(math.log(0.25), math.log(2.0))) for _ in range(2))
    if rng.random() < 0.5:  # a lamp, by how sharply its light ends
        spot = np.exp(-(((along / long) ** 2 + (aside / wide) ** 2) ** rng.uniform(0.8, 3.0)))
    else:  # a window
        soft = h * rng.uniform(0.02, 0.3)
        spot = np.clip((long - along) / soft, 0, 1) * np.clip((wide - aside) / soft, 0, 1)
    spot = spot * math.exp(rng.uniform(math.log(0.15), math.log(2.5)))
    curve = rng.uniform(*light.CURVES)
    under = lambda codes: light.codes_of(light.of_codes(codes, curve) + spot, curve)
    apart = np.abs(under(ink) - under(ground))
    seen_codes = max(min(SEEN_CODES, abs(ink - ground)), LOST_CODES + 1)
    return under(flat).astype(np.float32), np.clip((apart - LOST_CODES) / (seen_codes - LOST_CODES), 0, 1)


def finger(rng, shape, tip, h):
    """A finger that points at `tip` from outside a picture of `shape`, fit for digits of
    `h` px: how much it hides (float32, 0..1) and its brightness (float32), per px."""
    height, width = shape
    thick = h * rng.uniform(0.5, 1.7)
    sides = [(-1, 0), (1, 0), (0, -1), (0, 1)]
    dx, dy = sides[rng.choice(4, p=[0.25, 0.25, 0.15, 0.35])]
    theta = math.atan2(dy, dx) + rng.normal(0, 0.3)
    dx, dy = math.cos(theta), math.sin(theta)
    reach = width + height
    root = (tip[0] + dx * reach, tip[1] + dy * reach)
    mask = Image.new("L", (width, height), 0)
    draw = ImageDraw.Draw(mask)
    r = thick / 2
    draw.line((*root, *tip), fill=255, width=int(thick))
    draw.ellipse((tip[0] - r, tip[1] - r, tip[0] + r, tip[1] + r), fill=255)
    soft = h * rng.uniform(0.01, 0.06)
    hides = cv2.GaussianBlur(np.asarray(mask), (0, 0), soft).astype(np.float32) / 255
    yy, xx = grid(shape)
    aside = ((xx - tip[0]) * dy - (yy - tip[1]) * dx) / r
    skin = rng.uniform(30, 215)
    bright = skin + rng.uniform(-0.25, 0.25) * skin * aside - rng.uniform(0, 0.3) * skin * aside**2
    if rng.random() < 0.5:  # a nail, which looks like a 0
        along = (xx - tip[0]) * dx + (yy - tip[1]) * dy
        square = rng.uniform(2, 5)
        nail = (np.abs(aside) / rng.uniform(0.45, 0.75)) ** square + np.abs(along / r / rng.uniform(0.6, 0.9) - 0.1) ** square < 1
        bright = np.where(nail, bright * rng.uniform(0.8, 1.4) + rng.uniform(-10, 40), bright)
    return hides, bright.astype(np.float32)
