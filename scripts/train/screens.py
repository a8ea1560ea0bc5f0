"""Flat screens with clocks and other text, and the places of their lines."""

import math

import numpy as np

from faces import any_face, any_font, FontFace
from filming import bloom

# Share of displays that show their clock in two lines or in two pieces on one line.
TWO_LINES = 0.3
# Share of screens that show another clock besides: how long has been recorded, say.
ANOTHER = 0.25


def digits(rng, n):
    return "".join(str(d) for d in rng.integers(0, 10, n))


def clock_text(rng, two_lines=TWO_LINES):
    """One or two lines of clock text. Half of them legal times, half any digits."""
    legal = rng.random() < 0.5

    def pair(top):
        return f"{rng.integers(0, top):02}" if legal else digits(rng, 2)

    sep = rng.choice([":", ":", ":", ":", ".", " "])
    last = rng.choice([sep, ":", ";", ";", ".", "."])
    h, m, s = pair(24), pair(60), pair(60)
    if rng.random() < two_lines:
        pick = rng.random()
        if pick < 0.5:
            return [f"{h}{sep}{m}", f"{s}{last}{pair(60)}"]
        if pick < 0.8:
            return [f"{h}{sep}{m}{sep}{s}", pair(60)]
        if pick < 0.9:
            return [f"{h}{sep}{m}{sep}{s}", digits(rng, 3)]
        return [f"{h}{sep}{m}", s]
    pick = rng.random()
    if pick < 0.57:
        return [f"{h}{sep}{m}{sep}{s}{last}{pair(60)}"]
    if pick < 0.70:
        return [f"{h}{sep}{m}{sep}{s}{last}{digits(rng, 3)}"]
    if pick < 0.83:
        return [f"{h}{sep}{m}{sep}{s}"]
    if pick < 0.90:
        return [f"{h}{sep}{m}{sep}{s}{last}{digits(rng, 1)}"]
    if pick < 0.94:
        return [f"{h[1]}{sep}{m}{sep}{s}{last}{pair(60)}"]
    return [digits(rng, int(rng.integers(4, 10)))]


WORDS = "start take roll scene reel sync rate tone gate lens card ext int cam mono left right live meter day north west gain open slow".split()  # fmt: skip


def other_text(rng):
    """Text that is no clock: (text, how to label it)."""
    pick = rng.random()
    if pick < 0.35:
        word = " ".join(rng.choice(WORDS, int(rng.integers(1, 4))))
        return (word.upper() if rng.random() < 0.5 else word.title()), "negative"
    if pick < 0.5:
        return "".join(chr(c) for c in rng.integers(65, 91, int(rng.integers(2, 9)))), "negative"
    if pick < 0.62:
        return f"{rng.integers(1, 101)}%", "ignore"
    if pick < 0.74:
        return f"{rng.choice(['24', '25', '30', '50', '23.98', '29.97', '59.94'])} {rng.choice(['fps', 'FPS', 'Hz', 'p'])}", "ignore"  # fmt: skip
    if pick < 0.87:
        return f"{rng.integers(0, 24)}:{rng.integers(0, 60):02}", "positive"
    return f"20{rng.integers(10, 40)}{rng.choice(['-', '.', '/'])}{rng.integers(1, 13):02}{rng.choice(['-', '.'])}{rng.integers(1, 29):02}", "ignore"  # fmt: skip


def levels(rng):
    """Brightness of ink and ground, 0..255; now and then dim or nearly equal."""
    pick = rng.random()
    if pick < 0.07:  # a night mode, or red on black: little luma
        ground = rng.uniform(0, 25)
        ink = ground + rng.uniform(14, 50)
    elif pick < 0.68:
        ground = rng.uniform(0, 60)
        ink = ground + rng.uniform(45, 200)
    elif pick < 0.95:
        ground = rng.uniform(110, 255)
        ink = ground - rng.uniform(50, ground - 10 if ground > 70 else 60)
    else:
        ground = rng.uniform(20, 200)
        ink = ground + rng.choice([-1, 1]) * rng.uniform(22, 45)
    return float(np.clip(ink, 0, 255)), float(np.clip(ground, 0, 255))


def paste(canvas, line, x, y, ink):
    """Lays a line's ink on the canvas with its top left mask corner at x, y."""
    lay(canvas, line.mask, int(x), int(y), ink)


def lay(canvas, mask, x, y, ink):
    """Lays ink on the canvas with the mask's top left corner at x, y, as far as it lies on it."""
    mask = mask[max(0, -y) :, max(0, -x) :]
    x, y = max(0, x), max(0, y)
    part = canvas[y : y + mask.shape[0], x : x + mask.shape[1]]
    alpha = mask[: part.shape[0], : part.shape[1]].astype(np.float32) / 255
    part += (ink - part) * alpha


def line_box(line, x, y):
    """Corners of the digits of a pasted line: from first to last cell, top to base."""
    first, last = line.cells[0], line.cells[-1]
    x0, x1 = first[1] - first[2] / 2 + int(x), last[1] + last[2] / 2 + int(x)
    return np.array([[x0, line.top + int(y)], [x1, line.top + int(y)],
                     [x1, line.bottom + int(y)], [x0, line.bottom + int(y)]], np.float64)  # fmt: skip


def screen(rng, assets, h, two_lines=TWO_LINES):
    """A flat screen with a clock of digit height `h` px and often other text.

    Returns the picture (float32) and [(corners 4x2, label)] of all its lines.
    """
    texts = clock_text(rng, two_lines)
    face = any_face(rng, assets, h, "".join(texts))
    ink, ground = levels(rng)
    drawn = []
    for i, text in enumerate(texts):
        share = 1.0 if i == 0 or rng.random() < 0.5 else rng.uniform(0.4, 1.6)
        drawn.append((face.draw(text, h * share), "positive"))
    side = rng.random() < 0.15 and len(drawn) == 2
    extras_above, extras_below = [], []
    for _ in range(int(rng.choice([0, 0, 1, 1, 2, 3]))):
        text, label = other_text(rng)
        size = max(8.0, h * rng.uniform(0.2, 0.8))
        extra = FontFace(rng, any_font(rng, assets.fonts)).draw(text, size)
        (extras_above if rng.random() < 0.5 else extras_below).append((extra, label))
    if rng.random() < ANOTHER:
        text = clock_text(rng, 0)[0]
        size = max(8.0, h * math.exp(rng.uniform(math.log(0.25), 0)))
        its_face = face if rng.random() < 0.5 else any_face(rng, assets, size, text)
        another = its_face.draw(text, size)
        (extras_above if rng.random() < 0.5 else extras_below).append((another, "positive"))
    margin = h * rng.uniform(0.1, 1.2)
    rows = [[e] for e in extras_above] + ([drawn] if side else [[d] for d in drawn]) + [[e] for e in extras_below]
    width = max(sum(l.mask.shape[1] for l, _ in row) for row in rows) + 2 * margin
    width *= rng.choice([1.0, 1.0, rng.uniform(1.0, 1.6)])
    placed, foot = [], None  # foot: base line of the row above
    for row in rows:
        if foot is None:
            y = margin
        else:  # rows of one clock stand close together
            is_clock = any(label == "positive" for _, label in row)
            gap = math.exp(rng.uniform(math.log(0.1), math.log(1.0))) if is_clock else rng.uniform(0.15, 1.1)
            y = foot + h * gap - min(l.top for l, _ in row)
        foot = y + max(l.bottom for l, _ in row)
        total = sum(l.mask.shape[1] for l, _ in row)
        x = margin + rng.uniform(0, 1) * max(0, width - 2 * margin - total) if rng.random() < 0.6 else (width - total) / 2
        for line, label in row:
            placed.append((line, label, x, y))
            x += line.mask.shape[1]
    height = int(foot + 0.3 * h + margin)
    picture = np.full((height, int(width) + 2), ground, np.float32)
    if rng.random() < 0.2:  # uneven ground: a light falls on it
        picture += np.linspace(0, rng.uniform(-40, 40), picture.shape[1], dtype=np.float32)
    boxes = []
    for line, label, x, y in placed:
        level = ink if label == "positive" or rng.random() < 0.5 else ground + (ink - ground) * rng.uniform(0.3, 1.0)
        paste(picture, line, max(0, x), max(0, y), level)
        boxes.append((line_box(line, max(0, x), max(0, y)), label))
    picture = np.clip(picture, 0, 255)
    if rng.random() < 0.12:
        picture = bloom(rng, picture, h)
    return picture, boxes
