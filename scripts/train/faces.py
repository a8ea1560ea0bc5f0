"""Lines of characters as masks: real fonts, seven-segment shapes, dot matrices, and pens (`pens.py`).

Every face draws a line of text at a digit height of `h` pixels and tells where each
character's cell lies, so that labels are exact by construction.
"""

import functools
import math

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from line import Line
from pens import PenFace


SEGMENTS = {
    "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg",
    "6": "acdefg", "7": "abc", "8": "abcdefg", "9": "abcdfg", "-": "g", " ": "",
    "P": "abefg", "A": "abcefg", "C": "adef", "F": "aefg", "H": "bcefg", "L": "def", "E": "adefg",
}  # fmt: skip
TAILLESS = {"6": "cdefg", "7": "abcf", "9": "abcfg"}


class SegmentFace:
    """Seven segments of one thickness, with odd shapes for 6, 7 and 9 at times."""

    def __init__(self, rng, in_daylight):
        self.width = rng.uniform(0.42, 0.66)
        self.pitch = self.width + (rng.uniform(0.14, 0.45) if rng.random() < 0.92 else rng.uniform(0.45, 0.8))
        self.thick = rng.uniform(0.07, 0.2)
        self.gap = self.thick * rng.choice([0.0, 0.08, 0.2, 0.35])
        self.slant = rng.choice([0.0, 0.0, rng.uniform(0.05, 0.2)])
        self.is_square = rng.random() < 0.35
        self.tailless = {d for d in "679" if rng.random() < 0.3}
        self.left_one = rng.random() < 0.06
        # Some displays have slanted segments, too, and show a zero with two of them.
        self.strokes_zero = self.thick < 0.15 and rng.random() < 0.18
        self.ghost = rng.choice([0.0, 0.0, rng.uniform(0.03, 0.25)])
        if in_daylight and rng.random() < 0.2:  # unlit segments of grey modules show brightly
            self.ghost = rng.uniform(0.2, 0.6)
        self.colon_width = rng.uniform(0.18, 0.5)
        # Many modules have a dot behind each digit, within its place.
        self.dot_width = 0.0 if rng.random() < 0.4 else 0.6 * self.colon_width
        self.dot = rng.uniform(0.07, 0.13)
        self.round_dots = rng.random() < 0.5
        self.broken = {}  # the segment that stays dark, by the index of the character

    def polygon(self, name, h):
        t, g, w = self.thick * h / 2, self.gap * h, self.width * h
        x0, x1, y0, ym, y1 = t, w - t, t, h / 2, h - t
        ends = {
            "a": (x0, y0, x1, y0), "g": (x0, ym, x1, ym), "d": (x0, y1, x1, y1),
            "f": (x0, y0, x0, ym), "b": (x1, y0, x1, ym), "e": (x0, ym, x0, y1), "c": (x1, ym, x1, y1),
        }[name]  # fmt: skip
        ax, ay, bx, by = ends
        ux, uy = (1, 0) if ay == by else (0, 1)
        ax, ay, bx, by = ax + ux * g, ay + uy * g, bx - ux * g, by - uy * g
        nx, ny = uy * t, ux * t
        if self.is_square:
            ex = t * 0.5
            return [(ax + nx - ux * ex, ay + ny - uy * ex), (bx + nx + ux * ex, by + ny + uy * ex),
                    (bx - nx + ux * ex, by - ny + uy * ex), (ax - nx - ux * ex, ay - ny - uy * ex)]  # fmt: skip
        sx, sy = ux * t, uy * t
        return [(ax, ay), (ax + sx + nx, ay + sy + ny), (bx - sx + nx, by - sy + ny), (bx, by),
                (bx - sx - nx, by - sy - ny), (ax + sx - nx, ay + sy - ny)]  # fmt: skip

    def stroke(self, way, h):
        """Half of a zero's stroke: from its middle up to the right, `way` 1, or down to the left, -1."""
        t, g, w = self.thick * h / 2, self.gap * h + 1, self.width * h
        near, far = g + t / 2, (w / 2 - 2 * t - g, h / 2 - 2 * t - g)
        x, y, dx, dy = w / 2 + way * near * 0.5, h / 2 - way * near, way * far[0], -way * far[1]
        return [(x - t, y), (x + t, y), (w / 2 + dx + t, h / 2 + dy), (w / 2 + dx - t, h / 2 + dy)]

    def lit(self, ch):
        if ch in self.tailless:
            return TAILLESS[ch]
        if ch == "1" and self.left_one:
            return "ef"
        return SEGMENTS.get(ch, "")

    def draw(self, text, h, dark=()):
        """`dark`: indices of characters whose segments are all off."""
        pad = int(h * 0.35)
        total = sum(self.advance(c) for c in text) * h
        width = int(total + 2 * pad + self.slant * h + 2)
        image = Image.new("L", (width, int(h + 2 * pad)), 0)
        draw = ImageDraw.Draw(image)
        ghost = int(255 * self.ghost)
        cells, x = [], float(pad)

        def shear(points, ox):
            return [(ox + px + (h - py) * self.slant, pad + py) for px, py in points]

        for index, ch in enumerate(text):
            adv = self.advance(ch) * h
            middle = x + adv / 2 + self.slant * h / 2
            if ch in ":;.":
                r = self.dot * h
                heights = {":": (0.3, 0.7), ";": (0.3, 0.72), ".": (1 - self.dot,)}[ch]
                for share in heights:
                    cx, cy = x + adv / 2 + h * (1 - share) * self.slant, pad + share * h
                    box = (cx - r, cy - r, cx + r, cy + r)
                    (draw.ellipse if self.round_dots else draw.rectangle)(box, fill=255)
                if ch == ";":
                    cx, cy = x + adv / 2 + h * 0.25 * self.slant, pad + 0.72 * h
                    draw.polygon([(cx - r, cy), (cx + r, cy), (cx - 1.2 * r, cy + 2.6 * r)], fill=255)
                cells.append((ch, middle, adv, True))
            elif ch != " ":
                ox = x + (self.pitch - self.width) * h / 2
                on = () if index in dark else self.lit(ch).replace(self.broken.get(index, "-"), "")
                for name in "abcdefg":
                    level = 255 if name in on else ghost
                    if level:
                        draw.polygon(shear(self.polygon(name, h), ox), fill=level)
                if ch == "0" and on and self.strokes_zero:
                    for way in (1, -1):
                        draw.polygon(shear(self.stroke(way, h), ox), fill=255)
                cells.append((ch, middle, self.pitch * h, index not in dark))
            x += adv
        return Line(np.asarray(image), pad, pad + h, cells)

    def advance(self, ch):
        if ch in ":;":
            return self.colon_width
        if ch == ".":
            return self.dot_width
        return self.pitch if ch != " " else self.pitch * 0.6


def broken(rng, face, text, h, dark, line):
    """What stays lit of a display on which a part of one digit is always dark: a segment, or a
    band across or along the digit. `line` is what the whole display shows of `text`; returned is
    float32, 0..1, of its mask's shape. A face of segments draws its dark one from then on."""
    at = [i for i, cell in enumerate(line.cells) if cell[0].isdigit()]
    places = [i for i, ch in enumerate(text) if ch.isdigit()]
    which = rng.integers(len(at))
    if isinstance(face, SegmentFace) and rng.random() < 0.6:
        face.broken = {places[which]: "abcdefg"[rng.integers(7)]}
        left = face.draw(text, h, dark).mask
        return np.where(line.mask > 0, left / np.maximum(line.mask, 1), 1).astype(np.float32)
    _, x, w, _ = line.cells[at[which]]
    part = rng.uniform(0.1, 0.65)
    start = rng.choice([0.0, 1 - part, rng.uniform(0, 1 - part)])
    lit = np.ones(line.mask.shape, np.float32)
    left, right = int(x - w / 2), int(x + w / 2) + 1
    if rng.random() < 0.6:
        lit[:, max(0, int(left + w * start)) : int(left + w * (start + part)) + 1] = 0
    else:
        tall = line.bottom - line.top
        first, last = int(line.top + tall * start), int(line.top + tall * (start + part)) + 1
        lit[first:last, max(0, left) : right] = 0
    return lit


@functools.lru_cache(4096)
def font_at(path, size):
    return ImageFont.truetype(path, size)


def thinned(image):
    """Ink with half a pixel or one less along its edges, as much as leaves the strokes whole."""
    ink = np.asarray(image, np.float32)
    less = cv2.erode(np.asarray(image), np.ones((3, 3), np.uint8)).astype(np.float32)
    for share in (1.0, 0.5):
        thin = ink + (less - ink) * share
        if thin.sum() > 0.35 * ink.sum():
            return Image.fromarray(thin.astype(np.uint8))
    return image


def outlined(image, width):
    """The edges of the ink alone, `width` px wide."""
    reach = 2 * width + 1
    wide = cv2.dilate(np.asarray(image), np.ones((reach, reach), np.uint8)).astype(np.float32)
    return Image.fromarray((wide - np.asarray(image, np.float32)).clip(0, 255).astype(np.uint8))


class FontFace:
    """A TrueType face, monospaced by force or as it comes, at times with a stroke or a dot in
    its 0, a foot under its 1 (to one side only in some), a bar across its 7: fonts differ most
    in these."""

    def __init__(self, rng, path):
        self.path = path
        self.zero = rng.choice(["", "stroke", "back stroke", "dot"], p=[0.7, 0.12, 0.04, 0.14])
        self.foot = rng.uniform(0.25, 0.7) if rng.random() < 0.2 else 0.0
        self.foot_sides = ((1, 1), (0, 1), (1, 0))[rng.choice(3, p=[0.55, 0.35, 0.1])]  # left, right
        self.toe = rng.random() < 0.3  # the foot's right end turns up
        self.bar = rng.random() < 0.05
        self.pen = rng.uniform(0.05, 0.16)
        self.tracking = rng.choice([0.0, rng.uniform(-0.02, 0.2), rng.uniform(0.2, 0.5)], p=[0.6, 0.32, 0.08])
        self.forced = rng.random() < 0.4
        self.stretch = rng.choice([1.0, 1.0, rng.uniform(0.75, 1.25)])
        self.stroke = rng.choice([0, 0, 0, rng.uniform(0.01, 0.05)])
        self.small_marks = rng.uniform(0.7, 1.0)
        self.is_thinned = self.stroke == 0 and rng.random() < 0.08
        self.slant = rng.uniform(-0.05, 0.25) if rng.random() < 0.12 else 0.0
        self.outline = rng.uniform(0.02, 0.06) if rng.random() < OUTLINED else 0.0

    def draw(self, text, h, dark=()):
        font = font_at(self.path, 100)
        box = font.getbbox("0", anchor="ls")
        size = max(6, int(round(100 * h / max(1, -box[1]))))
        font = font_at(self.path, size)
        box = font.getbbox("0", anchor="ls")
        h = float(-box[1])
        pad = int(h * 0.4)
        wide = max(font.getlength(d) for d in "0123456789")
        advances = []
        for ch in text:
            adv = font.getlength(ch)
            if ch.isdigit() and self.forced:
                adv = wide
            if ch in ":;. ":
                adv *= self.small_marks
            advances.append(adv + self.tracking * h)
        image = Image.new("L", (int(sum(advances) + 2 * pad + 2), int(h + 2 * pad)), 0)
        draw = ImageDraw.Draw(image)
        cells, x = [], float(pad)
        for index, (ch, adv) in enumerate(zip(text, advances)):
            middle = x + adv / 2
            if index not in dark and ch != " ":
                draw.text((middle, pad + h), ch, font=font, fill=255, anchor="ms",
                          stroke_width=int(round(self.stroke * h)))  # fmt: skip
                self.add(draw, ch, middle, pad, h, min(adv, 0.8 * h))
            if ch != " ":
                cells.append((ch, middle, adv, index not in dark))
            x += adv
        if self.is_thinned and h >= 24:
            image = thinned(image)
        if self.outline and h >= 24:
            image = outlined(image, max(1, round(self.outline * h)))
        if self.slant:  # the middles of the characters stay where they are
            image = image.transform(image.size, Image.AFFINE, (1, self.slant, -self.slant * (pad + h / 2), 0, 1, 0),
                                    Image.BILINEAR)  # fmt: skip
        mask, k = np.asarray(image), self.stretch
        if k != 1.0:
            mask = np.asarray(image.resize((max(8, int(image.width * k)), image.height), Image.BILINEAR))
            cells = [(c, m * k, w * k, on) for c, m, w, on in cells]
        return Line(mask, pad, pad + h, cells)

    def add(self, draw, ch, x, top, h, w):
        """Draws what this face has beyond its font's glyph `ch`, `w` px wide about `x`."""
        pen = max(1, int(round(self.pen * h)))
        middle, base = top + h / 2, top + h
        if ch == "0" and self.zero == "dot":
            r = pen * 0.75
            draw.ellipse((x - r, middle - 1.3 * r, x + r, middle + 1.3 * r), fill=255)
        elif ch == "0" and self.zero:
            reach = 0.22 * w if self.zero == "stroke" else -0.22 * w
            draw.line((x - reach, middle + 0.27 * h, x + reach, middle - 0.27 * h), fill=255, width=pen)
        elif ch == "1" and self.foot:
            left, right = (self.foot * w * side / sum(self.foot_sides) for side in self.foot_sides)
            draw.rectangle((x - left, base - pen, x + right, base - 1), fill=255)
            if self.toe and right:
                draw.rectangle((x + right - pen, base - 3 * pen, x + right, base - 1), fill=255)
        elif ch == "7" and self.bar:
            r = 0.25 * w
            draw.rectangle((x - r, middle - pen / 2, x + r, middle + pen / 2), fill=255)


# Digits of five by seven dots, drawn for this file: the common one, then others that displays
# have. A row is five dots, "#" where one is lit.
DOTS_5_BY_7 = {
    "0": [".###. #...# #...# #...# #...# #...# .###.", ".###. #...# #..## #.#.# ##..# #...# .###.",
          ".###. #...# #...# #.#.# #...# #...# .###.", "##### #...# #...# #...# #...# #...# #####"],
    "1": ["..#.. .##.. ..#.. ..#.. ..#.. ..#.. .###.", "..#.. .##.. #.#.. ..#.. ..#.. ..#.. #####",
          "...#. ..##. ...#. ...#. ...#. ...#. ...#.", "..#.. .##.. ..#.. ..#.. ..#.. ..#.. ..#.."],
    "2": [".###. #...# ....# ...#. ..#.. .#... #####", ".###. #...# ....# ..##. .#... #.... #####",
          "##### ....# ....# ##### #.... #.... #####"],
    "3": [".###. #...# ....# ..##. ....# #...# .###.", "##### ...#. ..#.. ...#. ....# #...# .###.",
          "##### ....# ....# ##### ....# ....# #####"],
    "4": ["...#. ..##. .#.#. #..#. ##### ...#. ...#.", "#...# #...# #...# ##### ....# ....# ....#",
          "#.... #..#. #..#. #..#. ##### ...#. ...#."],
    "5": ["##### #.... ####. ....# ....# #...# .###.", "##### #.... #.... ####. ....# ....# ####.",
          "##### #.... #.... ##### ....# ....# #####"],
    "6": ["..##. .#... #.... ####. #...# #...# .###.", ".###. #...# #.... ####. #...# #...# .###.",
          "##### #.... #.... ##### #...# #...# #####"],
    "7": ["##### ....# ...#. ..#.. .#... .#... .#...", "##### ....# ....# ...#. ..#.. ..#.. ..#..",
          "##### #...# ....# ....# ....# ....# ....#"],
    "8": [".###. #...# #...# .###. #...# #...# .###.", "##### #...# #...# ##### #...# #...# #####"],
    "9": [".###. #...# #...# .#### ....# ...#. .##..", ".###. #...# #...# .#### ....# #...# .###.",
          "##### #...# #...# ##### ....# ....# #####"],
}  # fmt: skip


class DotFace:
    """Digits of five by seven dots, put on a `MatrixFace`'s grid as a font is."""

    def __init__(self, rng):
        self.shapes = {d: shapes[rng.integers(len(shapes))].split() for d, shapes in DOTS_5_BY_7.items()}
        self.gap, self.mark = int(rng.integers(1, 3)), int(rng.integers(1, 4))

    def draw(self, text, h, dark=()):
        """At seven dots a digit, whatever `h` is."""
        rows, columns, cells = 7, [np.zeros((11, 3), np.uint8)], []
        x = 3
        for index, ch in enumerate(text):
            if ch.isdigit():
                dots = np.array([[dot == "#" for dot in row] for row in self.shapes[ch]], np.uint8)
                if index in dark:
                    dots[:] = 0
            elif ch in ":;.":
                dots = np.zeros((rows, self.mark), np.uint8)
                at = {":": (2, 4), ";": (2, 5, 6), ".": (6,)}[ch]
                dots[list(at), self.mark // 2] = 1
                if self.mark == 3 and ch == ";":
                    dots[6, 1], dots[6, 0] = 0, 1
            else:
                dots = np.zeros((rows, 3), np.uint8)
            wide = dots.shape[1] + self.gap
            if ch != " ":
                cells.append((ch, x + dots.shape[1] / 2, float(wide), index not in dark))
            columns.append(np.pad(dots * 255, ((2, 2), (0, self.gap))))
            x += wide
        columns.append(columns[0])
        return Line(np.concatenate(columns, 1), 2.0, 9.0, cells)


class MatrixFace:
    """Digits on a coarse grid, drawn as dots: a font's, or those of five by seven dots."""

    def __init__(self, rng, path, of_digits):
        self.rows = int(rng.integers(7, 15))
        if of_digits and rng.random() < 0.5:
            self.font = DotFace(rng)
        else:
            self.font = FontFace(rng, path)
            self.font.stroke = 0
        self.fill = rng.uniform(0.35, 1.0)
        self.is_round = rng.random() < 0.7
        self.ghost = rng.choice([0, rng.uniform(0.03, 0.2)])

    def draw(self, text, h, dark=()):
        small = self.font.draw(text, self.rows, dark)
        scale = max(2, int(round(h / (small.bottom - small.top))))
        mask = small.mask.astype(np.float32)
        lit = np.where(mask > 110, 1.0, self.ghost)
        yy, xx = np.mgrid[0:scale, 0:scale]
        c = (scale - 1) / 2
        r = scale / 2 * self.fill
        if self.is_round:
            cell = np.clip(r + 0.5 - np.hypot(yy - c, xx - c), 0, 1)
        else:
            cell = ((abs(yy - c) <= r) & (abs(xx - c) <= r)).astype(np.float32)
        big = np.kron(lit, cell) * 255
        cells = [(ch, m * scale, w * scale, on) for ch, m, w, on in small.cells]
        return Line(big.astype(np.uint8), small.top * scale, small.bottom * scale, cells)


# Share of the fonts for clocks that are taken from the odd ones.
ODD = 0.15
# Share of fonts of which a display draws the outlines alone.
OUTLINED = 0.04


def any_font(rng, families):
    """The path of a font: every family is as likely, however many weights it has."""
    family = families[rng.integers(len(families))]
    return family[rng.integers(len(family))]


def any_face(rng, assets, h, text, in_daylight=False):
    """A face fit for `text` in digits of `h` pixels: a third segments, half fonts."""
    pick = rng.random()
    if pick < 0.32:
        return SegmentFace(rng, in_daylight)
    is_of_digits = PenFace.CHARACTERS.issuperset(text)
    if pick < 0.4 and is_of_digits:
        return PenFace(rng)
    is_odd = assets.odd_fonts and rng.random() < ODD
    path = any_font(rng, assets.odd_fonts if is_odd else assets.fonts)
    if pick < 0.86 or h < 16:
        return FontFace(rng, path)
    return MatrixFace(rng, path, is_of_digits)


def rotation_about(theta):
    return np.array([[math.cos(theta), -math.sin(theta)], [math.sin(theta), math.cos(theta)]])
