"""Tiles that digits stand on: a plate or a frame for each digit or for each group, as flaps and
boxed displays have them."""

import numpy as np
from PIL import Image, ImageDraw

# Shares of the tiles that hold one digit each, that are no more than a frame, and that have a
# hinge across their middle, as flaps do.
SINGLE, FRAMES, HINGED = 0.6, 0.25, 0.35
# Digits further apart than this many of their widths belong to two groups.
GROUP_GAP = 1.3


def under(rng, shape, line, left, top, level):
    """The ground of a picture of `shape` in which digits of `line`, whose mask lies at `left` and
    `top`, stand on tiles. Their own ground has the brightness `level`.

    Returns that ground and the brightness between the tiles, then what lies over the digits, the
    tiles' hinges: their brightness and how much they hide (pictures are float32, of `shape`).
    """
    h = line.bottom - line.top
    around = h * np.exp(rng.uniform(np.log(0.06), np.log(0.45)))
    is_frame = rng.random() < FRAMES
    hinge = 0.0 if is_frame or rng.random() > HINGED else h * rng.uniform(0.015, 0.06)
    radius = h * rng.choice([0.0, rng.uniform(0.03, 0.3)])
    edge = max(1, round(h * rng.uniform(0.02, 0.08)))
    middle = top + (line.top + line.bottom) / 2
    tile, across = (Image.new("L", (shape[1], shape[0]), 0) for _ in range(2))
    for x0, x1 in extents(rng, line, around):
        box = (left + x0, top + line.top - around, left + x1, top + line.bottom + around)
        shape_of = {"outline": 255, "width": edge} if is_frame else {"fill": 255}
        ImageDraw.Draw(tile).rounded_rectangle(box, radius, **shape_of)
        if hinge:
            crease = (box[0], middle - hinge / 2, box[2], middle + hinge / 2)
            ImageDraw.Draw(across).rectangle(crease, fill=255)
    share = np.asarray(tile, np.float32) / 255
    other = float(rng.uniform(0, 255))
    plate = np.full(shape, other if is_frame else level, np.float32)
    if hinge and rng.random() < 0.6:  # the flaps lie in another light
        plate[int(middle) :] += rng.uniform(-25, 25)
    between = level if is_frame else other
    dark = np.full(shape, level * rng.uniform(0.1, 0.9), np.float32)
    return between + (plate - between) * share, between, dark, np.asarray(across, np.float32) / 255


def extents(rng, line, around):
    """From where to where tiles reach along a line, which touch at most."""
    digits = [cell for cell in line.cells if cell[0].isdigit()]
    is_single = rng.random() < SINGLE
    runs = []
    for cell in digits:
        near = runs and cell[1] - runs[-1][-1][1] < GROUP_GAP * (cell[2] + runs[-1][-1][2]) / 2
        if near and not is_single:
            runs[-1].append(cell)
        else:
            runs.append([cell])
    share = rng.uniform(0.42, 0.5) if is_single else 0.5
    more = 0.0 if is_single else around
    spans = [[run[0][1] - share * run[0][2] - more, run[-1][1] + share * run[-1][2] + more] for run in runs]
    for a, b in zip(spans, spans[1:]):
        if a[1] > b[0]:
            a[1] = b[0] = (a[1] + b[0]) / 2
    return spans
