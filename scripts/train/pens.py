"""Digits drawn with a pen along lines of our own: thin and thick, square, cut at the corners or
round, in the shapes that fonts and displays differ by."""

import numpy as np
from PIL import Image, ImageDraw

from line import Line

# Each digit in its shapes, each of one or more lines through points (x, y) of a box one wide and
# one high, y downwards. A line that ends where it begins is closed.
SHAPES = {
    "0": [[[(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)]]],
    "1": [
        [[(0.5, 0), (0.5, 1)]],
        [[(0.12, 0.25), (0.5, 0), (0.5, 1)]],
        [[(0.05, 0), (0.5, 0), (0.5, 1)]],
        [[(0.12, 0.25), (0.5, 0), (0.5, 1)], [(0.1, 1), (0.9, 1)]],
        [[(0.05, 0), (0.5, 0), (0.5, 1)], [(0, 1), (1, 1)]],
    ],
    "2": [
        [[(0, 0), (1, 0), (1, 0.5), (0, 0.5), (0, 1), (1, 1)]],
        [[(0, 0.2), (0, 0), (1, 0), (1, 0.45), (0, 1)], [(0, 1), (1, 1)]],
        [[(0, 0.2), (0, 0), (1, 0), (1, 0.5), (0, 0.62), (0, 1), (1, 1)]],
    ],
    "3": [
        [[(0, 0), (1, 0), (1, 1), (0, 1)], [(0.15, 0.5), (1, 0.5)]],
        [[(0, 0), (1, 0)], [(1, 0), (0.45, 0.4)], [(0.45, 0.4), (1, 0.42), (1, 1), (0, 1), (0, 0.8)]],
        [[(0, 0.2), (0, 0), (1, 0), (1, 0.47), (0.35, 0.47)], [(0.35, 0.47), (1, 0.47), (1, 1), (0, 1), (0, 0.8)]],
    ],
    "4": [
        [[(0, 0), (0, 0.5), (1, 0.5)], [(1, 0), (1, 1)]],
        [[(0.72, 1), (0.72, 0)], [(0.72, 0), (0, 0.68)], [(0, 0.68), (1, 0.68)]],
        [[(0.3, 0), (0, 0.62)], [(0, 0.62), (1, 0.62)], [(0.75, 0.35), (0.75, 1)]],
    ],
    "5": [
        [[(1, 0), (0, 0)], [(0, 0), (0, 0.5)], [(0, 0.5), (1, 0.5), (1, 1), (0, 1)]],
        [[(0.95, 0), (0.1, 0)], [(0.1, 0), (0.05, 0.45)], [(0.05, 0.45), (0.3, 0.36), (1, 0.36), (1, 1), (0, 1), (0, 0.82)]],
    ],
    "6": [
        [[(1, 0), (0, 0), (0, 1), (1, 1), (1, 0.48), (0, 0.48)]],
        [[(1, 0.2), (1, 0), (0, 0), (0, 1), (1, 1), (1, 0.42), (0, 0.42), (0, 0.65)]],
        [[(0.75, 0), (0.02, 0.6)], [(0, 0.42), (1, 0.42), (1, 1), (0, 1), (0, 0.42)]],
        [[(0, 0), (0, 1), (1, 1), (1, 0.48), (0, 0.48)]],
    ],
    "7": [
        [[(0, 0), (1, 0)], [(1, 0), (1, 1)]],
        [[(0, 0), (1, 0)], [(1, 0), (0.3, 1)]],
        [[(0, 0.2), (0, 0)], [(0, 0), (1, 0)], [(1, 0), (1, 0.25), (0.4, 0.55), (0.4, 1)]],
    ],
    "8": [
        [[(0, 0), (1, 0), (1, 0.48), (0, 0.48), (0, 0)], [(0, 0.48), (1, 0.48), (1, 1), (0, 1), (0, 0.48)]],
        [[(0.1, 0), (0.9, 0), (0.9, 0.46), (0.1, 0.46), (0.1, 0)], [(0, 0.46), (1, 0.46), (1, 1), (0, 1), (0, 0.46)]],
    ],
}  # fmt: skip
# A 9 is a 6 turned by half.
SHAPES["9"] = [[[(1 - x, 1 - y) for x, y in line] for line in shape] for shape in SHAPES["6"]]
# Drawn this much larger, then made smaller: smooth edges, and pens of less than a pixel.
FINER = 3


def cut_corners(points, share):
    """Each corner of a line replaced by two, a `share` of the way to its neighbours."""
    points = np.asarray(points, float)
    is_closed = np.allclose(points[0], points[-1])
    before, after = points[:-1], points[1:]
    near, far = before + (after - before) * share, after + (before - after) * share
    cut = np.stack([near, far], 1).reshape(-1, 2)
    if is_closed:
        return np.concatenate([cut, cut[:1]])
    return np.concatenate([points[:1], cut[1:-1], points[-1:]])


class PenFace:
    """One pen, one manner of turning corners, one shape for each digit."""

    CHARACTERS = frozenset("0123456789:;. ")

    def __init__(self, rng):
        self.width = rng.uniform(0.4, 0.75)
        self.gap = rng.uniform(0.12, 0.4)
        self.pen = 0.035 * (0.19 / 0.035) ** rng.random()
        # Strokes across are thicker or thinner than those upwards, in some.
        self.squeeze = rng.choice([1.0, 1.0, rng.uniform(0.65, 1.5)])
        self.slant = rng.uniform(-0.05, 0.25) if rng.random() < 0.2 else 0.0
        self.ends_round = rng.random() < 0.4
        self.first_cut = rng.uniform(0.12, 0.4)
        self.cuts = rng.choice(4, p=[0.3, 0.2, 0.15, 0.35])
        self.zero = rng.choice(["", "stroke", "dot"], p=[0.75, 0.15, 0.1])
        self.mark = rng.uniform(0.16, 0.45)
        self.dot = max(0.03, self.pen * rng.uniform(0.5, 0.9))
        self.round_dots = rng.random() < 0.6
        jitter = rng.choice([0.0, 0.02, 0.05])
        self.lines = {digit: self.lines_of(rng, shapes, jitter) for digit, shapes in SHAPES.items()}

    def lines_of(self, rng, shapes, jitter):
        """A digit's lines, moved a little, with corners turned as this face does."""
        moved = {}
        lines = []
        for line in shapes[rng.integers(len(shapes))]:
            for point in line:  # points that lines share stay shared
                moved.setdefault(point, np.clip(np.add(point, rng.normal(0, jitter, 2)), 0, 1))
            points = [moved[point] for point in line]
            for cut in range(self.cuts):
                points = cut_corners(points, self.first_cut if cut == 0 else 0.25)
            lines.append(np.asarray(points))
        return lines

    def advance(self, ch):
        if ch in ":;.":
            return self.mark * (0.7 if ch == "." else 1.0)
        return (self.width + self.gap) * (0.6 if ch == " " else 1.0)

    def draw(self, text, h, dark=()):
        h = max(6, int(round(h)))
        pad = int(h * 0.4)
        total = sum(self.advance(c) for c in text) * h
        wide, high = int(total + 2 * pad + 2), int(h + 2 * pad)
        # x grows by `across` until the picture is made smaller, the pen does not.
        across = FINER * self.squeeze
        image = Image.new("L", (int(wide * across), high * FINER), 0)
        draw = ImageDraw.Draw(image)
        pen = self.pen * h * FINER
        cells, x = [], float(pad)

        def place(left, u, v):
            """A point of the box: a pen's half within its edges, which lie `pad` from the top."""
            half_x, half_y = pen / 2 / across, pen / 2 / FINER
            px = left + half_x + u * (self.width * h - 2 * half_x)
            py = pad + half_y + v * (h - 2 * half_y)
            return ((px + (pad + h / 2 - py) * self.slant) * across, py * FINER)

        for index, (ch, adv) in enumerate((c, self.advance(c) * h) for c in text):
            if ch in self.lines and index not in dark:
                left = x + self.gap * h / 2
                for line in self.lines[ch]:
                    self.stroke(draw, [place(left, u, v) for u, v in line], pen)
                if ch == "0" and self.zero == "stroke":
                    self.stroke(draw, [place(left, 0.25, 0.75), place(left, 0.75, 0.25)], pen)
                elif ch == "0" and self.zero == "dot":
                    self.spot(draw, *place(left, 0.5, 0.5), pen * 0.7)
            elif ch in ":;." and index not in dark:
                r = self.dot * h * FINER
                heights = {":": (0.3, 0.72), ";": (0.3, 0.72), ".": (1 - self.dot,)}[ch]
                left = x + adv / 2 - self.width * h / 2
                for share in heights:
                    cx, cy = place(left, 0.5, share)
                    self.spot(draw, cx, cy, r)
                if ch == ";":
                    draw.polygon([(cx - r, cy), (cx + r, cy), (cx - 1.2 * r, cy + 2.8 * r)], fill=255)
            if ch != " ":
                cells.append((ch, x + adv / 2, adv, index not in dark))
            x += adv
        mask = image.resize((wide, high), Image.BOX)
        return Line(np.asarray(mask), float(pad), float(pad + h), cells)

    def stroke(self, draw, points, pen):
        draw.line(points, fill=255, width=max(1, int(round(pen))), joint="curve" if self.cuts else None)
        if pen < 2.5:
            return
        ends = points if self.cuts == 0 else (points[0], points[-1])
        for x, y in ends:  # ends and sharp corners would be cut at the middle of the pen
            r = pen / 2
            if self.ends_round:
                draw.ellipse((x - r, y - r, x + r, y + r), fill=255)
            else:
                draw.rectangle((x - r, y - r, x + r, y + r), fill=255)

    def spot(self, draw, x, y, r):
        box = (x - r, y - r, x + r, y + r)
        (draw.ellipse if self.round_dots else draw.rectangle)(box, fill=255)
