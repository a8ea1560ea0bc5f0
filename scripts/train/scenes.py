"""The finder's training pictures: `finder_scene` gives pictures with the places of all digit lines.

Screens with clocks (`screens.py`) are filmed (`filming.py`), so that all places are exact. The footage
simulator in src/rehearse that measures the result shares no code with this.
"""

import math
import os
import re

import numpy as np
from PIL import Image

from covers import finger
from faces import any_font, FontFace
from filming import apply, background, BURNED_IN, burned_in, homography, pose, texture, to_image, warp
from screens import levels, other_text, screen, TWO_LINES

# Input side and label side in px.
SCENE_PX, SCENE_STRIDE = 256, 4
# Heights of digits, in px of the input, that the finder must find.
FIND_MIN_PX, FIND_MAX_PX = 5.0, 30.0
# Share of screens that are seen in a mirror.
MIRRORED = 0.04


def families(folder):
    """Paths of the fonts in a folder, by family."""
    of_name = {}
    for f in sorted(os.listdir(folder)):
        of_name.setdefault(re.match("[A-Za-z]*", f)[0], []).append(os.path.join(folder, f))
    return of_name


class Assets:
    def __init__(self, folder):
        self.fonts = list(families(os.path.join(folder, "fonts")).values())
        odd = os.path.join(folder, "odd_fonts")
        self.odd_fonts = list(families(odd).values()) if os.path.isdir(odd) else []
        self.photos = []
        for f in sorted(os.listdir(os.path.join(folder, "photos"))):
            with Image.open(os.path.join(folder, "photos", f)) as photo:
                self.photos.append(photo.convert("L"))
        rng = np.random.default_rng(5)
        self.textures = [texture(rng, 3 * SCENE_PX) for _ in range(24)]


def finder_scene(rng, assets, two_lines=TWO_LINES):
    """A picture (uint8, SCENE_PX square) and label planes on the stride grid.

    Planes (float32, 8 x side x side): score target, score weight, cos and sin of the
    reading direction, up vector x and y as a unit vector (in a mirror it lies on the other
    side of the reading direction), log2 of the digit height / 12 px, signed distance to the middle line over the height (positive towards the top).
    Last, the usual digit height in px, for the camera's faults (camera.py) to come.
    All of it as the only sample in a list.
    """
    over = 2
    size = SCENE_PX * over
    canvas = background(rng, assets, size)
    image = to_image(canvas)
    lines = []
    h_last = 10.0
    for _ in range(int(rng.choice([0, 1, 1, 1, 2]))):
        h_goal = math.exp(rng.uniform(math.log(FIND_MIN_PX), math.log(FIND_MAX_PX * 1.3)))
        h_last = h_goal
        h_draw = float(np.clip(h_goal * 3, 18, 64))
        flat, boxes = screen(rng, assets, h_draw, two_lines)
        height, width = flat.shape
        corners = pose(rng, width, height, h_goal * over / h_draw)
        shown = np.ones_like(flat)
        if rng.random() < BURNED_IN:
            flat, shown = burned_in(rng, flat)
            if rng.random() < 0.7:  # upright
                corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width, height] * (h_goal * over / h_draw / 2)
        spread = np.abs(corners).max(0)
        room = np.maximum(size / 2 - spread * rng.uniform(0.55, 1.0), 0)
        corners = corners + size / 2 + rng.uniform(-1, 1, 2) * room
        if rng.random() < MIRRORED:
            corners = corners[[1, 0, 3, 2]]
        matrix = homography([[0, 0], [width, 0], [width, height], [0, height]], corners)
        low = np.maximum(np.floor(corners.min(0)).astype(int), 0)
        high = np.minimum(np.ceil(corners.max(0)).astype(int) + 1, size)
        if (high - low).min() < 4:
            continue
        shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]], np.float64)
        extent = tuple(int(v) for v in high - low)
        patch = warp(to_image(flat), shift @ matrix, extent)
        hole = warp(to_image(255 * shown), shift @ matrix, extent)
        image.paste(patch, tuple(int(v) for v in low), hole)
        # A later screen may cover an earlier one.
        cover = [(apply(matrix, b), label) for b, label in boxes]
        lines = [(q, "ignore" if overlaps(q, corners) else l) for q, l in lines] + cover
    hides = None
    if rng.random() < 0.12:  # a finger over a screen
        tip = rng.uniform(0.1, 0.9, 2) * size
        hides, bright = finger(rng, (size, size), tip, h_last * over)
        array = np.asarray(image, np.float32)
        image = to_image(array + (bright - array) * hides)
    if rng.random() < 0.3:  # words lying about in the picture
        for _ in range(int(rng.integers(1, 4))):
            clutter(rng, assets, image, lines, over)
    if rng.random() < 0.2:
        array = np.asarray(image, np.float32)
        glare = np.exp(-((np.arange(size) - rng.uniform(0, size)) ** 2) / rng.uniform(20, 120) ** 2)
        image = to_image(array + glare[None, :] * rng.uniform(10, 90))
    labels = planes(lines, over)
    if hides is not None:
        step = SCENE_STRIDE * over
        is_hidden = hides.reshape(size // step, step, -1, step).mean((1, 3)) >= 0.5
        labels[1] *= ~(is_hidden & (labels[0] > 0))
    return [(np.asarray(image.reduce(over)), labels, np.float32(min(h_last, 20)))]


def overlaps(quad, corners):
    low, high = corners.min(0), corners.max(0)
    return bool((quad.max(0) > low).all() and (quad.min(0) < high).all())


def clutter(rng, assets, image, lines, over):
    text, label = other_text(rng)
    while label != "negative":
        text, label = other_text(rng)
    h = rng.uniform(8, 40) * over
    line = FontFace(rng, any_font(rng, assets.fonts)).draw(text, h)
    ink, _ = levels(rng)
    mask = Image.fromarray(line.mask).rotate(rng.uniform(-180, 180), expand=True)
    x, y = (int(rng.integers(-20, SCENE_PX * over - 20)) for _ in range(2))
    box = np.array([[x, y], [x + mask.width, y], [x + mask.width, y + mask.height], [x, y + mask.height]])
    if any(overlaps(q, box) for q, _ in lines):
        return
    image.paste(int(ink), (x, y, x + mask.width, y + mask.height), mask)


def planes(lines, over):
    side = SCENE_PX // SCENE_STRIDE
    out = np.zeros((8, side, side), np.float32)
    out[1] = 1.0
    yy, xx = np.mgrid[0:side, 0:side]
    grid = (np.c_[xx.ravel(), yy.ravel()] + 0.5) * SCENE_STRIDE
    cores = []
    for quad, label in lines:
        quad = quad / over
        if label == "negative":
            continue
        try:
            to_unit = homography(quad, [[0, 0], [1, 0], [1, 1], [0, 1]])
            from_unit = np.linalg.inv(to_unit)
        except np.linalg.LinAlgError:
            continue
        uv = apply(to_unit, grid)
        # The rim of a line may be marked or not; the gap between two rows may not. Of the
        # smallest digits one chain of cells is marked.
        centre = from_unit @ [0.5, 0.5, 1.0]
        edge = from_unit @ [0.5, 0.0, 1.0]
        edge = edge / edge[2] - centre / centre[2]
        tall = 2 * max(float(np.hypot(edge[0], edge[1])), 1e-3)
        half = max(0.3, min(0.5, 0.58 * SCENE_STRIDE / tall))
        aside = np.abs(uv[:, 1] - 0.5)
        near = (uv[:, 0] > -0.03) & (uv[:, 0] < 1.03) & (aside < half + 0.2)
        flat = out.reshape(8, -1)
        flat[1][near] = 0.0
        core = (uv[:, 0] >= 0) & (uv[:, 0] <= 1) & (aside <= half)
        if label == "ignore" or not core.any():
            continue
        cores.append((uv, from_unit, core))
    for uv, from_unit, core in cores:
        at = np.flatnonzero(core)
        u, v = uv[at, 0], uv[at, 1]
        top, base = apply(from_unit, np.c_[u, 0 * u]), apply(from_unit, np.c_[u, 0 * u + 1])
        up = top - base
        height = np.linalg.norm(up, axis=1)
        ahead = apply(from_unit, np.c_[u + 1e-3, v]) - apply(from_unit, np.c_[u - 1e-3, v])
        ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
        # Where two lines claim a cell, the nearer middle has it.
        good = (height >= FIND_MIN_PX * 0.9) & (height <= FIND_MAX_PX)
        good &= (flat[0, at] == 0) | (np.abs(v - 0.5) < np.abs(flat[7, at]))
        at, u, v, up, height, ahead = at[good], u[good], v[good], up[good], height[good], ahead[good]
        flat[0, at] = 1.0
        flat[1, at] = 1.0
        flat[2:4, at] = ahead.T
        flat[4:6, at] = (up / height[:, None]).T
        flat[6, at] = np.log2(height / 12)
        flat[7, at] = 0.5 - v
    return out
