"""Training pictures with exact labels: screens with running-clock text, filmed.

`finder_scene` gives a picture with the places of all digit lines; `reader_strip` a
rectified strip with the digit at each place. This renderer is independent of the
footage simulator in src/rehearse that measures the result: they share no code.
"""

import dataclasses
import io
import math
import os
import re

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from covers import finger, over_a_line
from faces import any_face, any_font, broken, FontFace, rotation_about
import tiles

# Finder: input side and label side in px.
SCENE_PX, SCENE_STRIDE = 256, 4
# Reader: strip height and width in px, px per column, and where the digits stand.
STRIP_H, STRIP_W, STRIP_STRIDE = 32, 256, 2
STRIP_TOP, STRIP_BOTTOM = 6.0, 26.0
# Heights of digits, in px of the finder's input, that the finder must find.
FIND_MIN_PX, FIND_MAX_PX = 5.0, 30.0

NONE, DIGIT, COLON, SEMICOLON, DOT, OTHER, TURNED, MIRROR = range(8)
KIND = {":": COLON, ";": SEMICOLON, ".": DOT}
IGNORE = 255
# Share of a character's ink in plain view. What covers and broken displays leave of it: so much
# is a digit for certain, of less it is left open whether it is one. It tells which one as far as
# digits differ there, which the network learns from how often each one was right; less than that
# is not worth a guess, and of next to nothing the cover is all there is.
VIEW_OF_A_DIGIT, VIEW_THAT_TELLS, VIEW_OF_NOTHING = 0.45, 0.2, 0.08


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


# ---- text -------------------------------------------------------------------------


def digits(rng, n):
    return "".join(str(d) for d in rng.integers(0, 10, n))


# Share of displays that show their clock in two lines or in two pieces on one line.
TWO_LINES = 0.3
# Share of screens that are seen in a mirror.
MIRRORED = 0.04
# Share of clocks that are laid over the picture instead of standing on a screen.
BURNED_IN = 0.13
# Share of strips with something over a part of the line, and of those on which a part of a digit
# stays dark: a segment, a row or column of dots, a half.
COVERED, BROKEN = 0.38, 0.05
# Share of strips whose digits stand on tiles, and the contrast of a mark to what lies between these
# below which nobody can tell it.
TILED, LEAST_OF_A_MARK = 0.08, 20


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


# ---- screens ----------------------------------------------------------------------


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
    h, w = line.mask.shape
    x, y = int(x), int(y)
    part = canvas[y : y + h, x : x + w]
    alpha = line.mask[: part.shape[0], : part.shape[1]].astype(np.float32) / 255
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


# ---- camera -----------------------------------------------------------------------


def homography(src, dst):
    """3x3 matrix that takes the four `src` points to the four `dst` points."""
    rows, rhs = [], []
    for (x, y), (u, v) in zip(src, dst):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        rhs += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(rhs)), 1).reshape(3, 3)


def apply(matrix, points):
    p = np.c_[np.asarray(points, np.float64), np.ones(len(points))] @ matrix.T
    return p[:, :2] / p[:, 2:]


def warp(image, matrix, size):
    """Warps a PIL picture by `matrix` (source to target) into `size`."""
    inverse = np.linalg.inv(matrix)
    inverse /= inverse[2, 2]
    return image.transform(size, Image.PERSPECTIVE, inverse.ravel()[:8], Image.BILINEAR)


def to_image(array):
    return Image.fromarray(np.clip(array, 0, 255).astype(np.uint8))


def pose(rng, width, height, scale):
    """Corners of a `width` x `height` rectangle after a random turn and tilt, about 0,0."""
    pick = rng.random()
    if pick < 0.6:
        theta = rng.normal(0, math.radians(9))
    elif pick < 0.75:
        theta = rng.choice([0.5, 1.0, 1.5]) * math.pi + rng.normal(0, math.radians(8))
    else:
        theta = rng.uniform(-math.pi, math.pi)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float64) * [width / 2, height / 2]
    # A tilted plane seen by a pinhole: depth varies along a random direction.
    tilt = rng.uniform(0, math.radians(55)) * rng.random()
    axis = rng.uniform(0, 2 * math.pi)
    far = max(width, height) * rng.uniform(1.5, 5)
    across = corners @ [math.cos(axis), math.sin(axis)]
    along = corners @ [-math.sin(axis), math.cos(axis)]
    depth = far / (far + across * math.sin(tilt))
    across = across * math.cos(tilt)
    corners = np.c_[across * math.cos(axis) - along * math.sin(axis),
                    across * math.sin(axis) + along * math.cos(axis)] * depth[:, None]  # fmt: skip
    return corners @ rotation_about(theta).T * scale


def texture(rng, size):
    """Grains of all sizes, fine ones above all, as in gravel, leaves or water; -1 to 1."""
    noise = np.fft.rfft2(rng.normal(0, 1, (size, size)))
    wave = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None])
    wave[0, 0] = 1.0
    grains = np.fft.irfft2(noise * wave ** -rng.uniform(0.2, 1.8), (size, size))
    return np.tanh(grains / grains.std() * rng.uniform(0.5, 1.5)).astype(np.float16)


def busy(rng, assets, size):
    """A ground full of edges: a photo from far off and its mirror images, or a texture."""
    if rng.random() < 0.5:
        grains = assets.textures[rng.integers(len(assets.textures))]
        y, x = rng.integers(0, len(grains) - size + 1, 2)
        return grains[y : y + size, x : x + size].astype(np.float32) * rng.uniform(25, 110) + rng.uniform(60, 190)
    side = int(rng.integers(size // 4, size * 4 // 5))
    photo = assets.photos[rng.integers(len(assets.photos))].resize((side, side), Image.BILINEAR, reducing_gap=1.5)
    tile = np.asarray(photo, np.float32)
    tile = np.concatenate([tile, tile[:, ::-1]], 1)
    tile = np.concatenate([tile, tile[::-1]], 0)
    times = -(-2 * size // (2 * side))
    y, x = rng.integers(0, size, 2)
    picture = np.tile(tile, (times, times))[y : y + size, x : x + size]
    return (picture - picture.mean()) * rng.uniform(0.8, 1.8) + rng.uniform(60, 190)


def background(rng, assets, size):
    """A photo crop, a busy ground, a gradient, or bars, `size` px square."""
    pick = rng.random()
    if pick < 0.2:
        picture = busy(rng, assets, size)
    elif pick < 0.8:
        photo = assets.photos[rng.integers(len(assets.photos))]
        side = int(min(photo.size) * rng.uniform(0.15, 1.0))
        x, y = (int(rng.integers(0, s - side + 1)) for s in photo.size)
        tile = photo.resize((size, size), Image.BILINEAR, box=(x, y, x + side, y + side), reducing_gap=1.5)
        picture = np.asarray(tile, np.float32)
        if rng.random() < 0.35:
            picture = picture * rng.uniform(0.05, 0.7)
    else:
        a, b = rng.uniform(0, 255, 2)
        picture = np.linspace(a, b, size, dtype=np.float32)[None, :].repeat(size, 0)
        if rng.random() < 0.5:  # bars, blinds, fences: rows of strokes that are no digits
            period, duty = rng.uniform(4, 40), rng.uniform(0.2, 0.8)
            strokes = (np.arange(size) % period) < period * duty
            picture = picture + strokes[None, :] * rng.uniform(-90, 90)
        if rng.random() < 0.5:
            picture = picture.T.copy()
    return np.clip(picture, 0, 255).astype(np.float32)


def soften(rng, image, h):
    """Focus, shake, noise and a codec, each at times. `h`: digit height in px of `image`."""
    if rng.random() < 0.5:
        image = image.filter(ImageFilter.GaussianBlur(rng.uniform(0, 0.09) * h))
    if rng.random() < 0.3:
        reach = rng.uniform(0.03, 0.25 if rng.random() < 0.7 else 0.45) * h
        theta, bend = rng.uniform(0, math.pi), rng.normal(0, 0.4)
        steps = int(np.clip(reach * 1.5, 2, 9))
        array = np.asarray(image, np.float32)
        total = np.zeros_like(array)
        for t in np.linspace(-0.5, 0.5, steps):
            along, aside = reach * t, reach * bend * (t * t - 0.08)  # a curved way
            dx = int(round(math.cos(theta) * along - math.sin(theta) * aside))
            dy = int(round(math.sin(theta) * along + math.cos(theta) * aside))
            total += np.roll(array, (dy, dx), (0, 1))
        image = to_image(total / steps)
    if rng.random() < 0.25:
        array = np.asarray(image, np.float32)
        noise = rng.normal(0, rng.uniform(2, 18), array.shape)
        if rng.random() < 0.4:  # in the dark, after the camera's own smoothing: coarse grains
            noise = 0.6 * (noise + np.roll(noise, 1, 0) + np.roll(noise, 1, 1) + np.roll(noise, (1, 1), (0, 1)))
        image = to_image(array + noise)
    if rng.random() < 0.55:
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=int(rng.uniform(12, 90) if rng.random() < 0.8 else rng.uniform(4, 15)))
        image = Image.open(buffer)
        image.load()
    return image


def finder_scene(rng, assets, two_lines=TWO_LINES):
    """A picture (uint8, SCENE_PX square) and label planes on the stride grid.

    Planes (float32, 8 x side x side): score target, score weight, cos and sin of the
    reading direction, up vector x and y as a unit vector (in a mirror it lies on the other
    side of the reading direction), log2 of the digit height / 12 px, signed distance to the middle line over the height (positive towards the top).
    Last, the usual digit height in px, for the camera's faults (camera.py) to come.
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
    return np.asarray(image.reduce(over)), labels, np.float32(min(h_last, 20))


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


# ---- strips -----------------------------------------------------------------------


def caught_between(rng, text):
    """The text one count earlier or later, for frames caught between two counts."""
    places = [i for i, c in enumerate(text) if c.isdigit()]
    old = list(text)
    for i in reversed(places[-4:]):
        was = int(old[i])
        step = 1 if rng.random() < 0.8 else int(rng.integers(1, 10))
        old[i] = str((was - step) % 10)
        if was != 0 or rng.random() < 0.3:
            break
    return "".join(old)


def changing(rng, face, line, text, h, dark):
    """A mask caught while the count changes, and for each cell that changes its digits'
    shares of the light."""
    old = face.draw(caught_between(rng, text), h, dark)
    mask = line.mask.astype(np.float32)
    if old.mask.shape != line.mask.shape:
        return mask, {}
    was = old.mask.astype(np.float32)
    pick = rng.random()
    new_share = np.ones(len(line.cells))
    if pick < 0.5:  # exposure across the change
        new_share[:] = rng.uniform(0, 1)
        mask = mask * new_share[0] + was * (1 - new_share[0])
    elif pick < 0.75:  # scan-out down or up the digits
        row = rng.uniform(line.top - 4, line.bottom + 4)
        share = float(np.clip((row - line.top) / (line.bottom - line.top), 0, 1))
        rows = np.arange(mask.shape[0])[:, None] < row
        is_down = rng.random() < 0.5
        mask = np.where(rows == is_down, mask, was)
        new_share[:] = share if is_down else 1 - share
    elif pick < 0.92:  # scan-out along the line, either way
        at = rng.uniform(0, mask.shape[1])
        columns = np.arange(mask.shape[1])[None, :] < at
        is_ahead = rng.random() < 0.5
        mask = np.where(columns == is_ahead, mask, was)
        for i, (_, x, w, _) in enumerate(line.cells):
            share = float(np.clip((at - (x - w / 2)) / w, 0, 1))
            new_share[i] = share if is_ahead else 1 - share
    else:  # a slow panel: the old digits fade behind the new ones
        mask = np.maximum(mask, was * rng.uniform(0.1, 0.4))
    return mask, {
        i: {new[0]: new_share[i], last[0]: 1 - new_share[i]}
        for i, (new, last) in enumerate(zip(line.cells, old.cells))
        if new[0] != last[0]
    }


# Signs that may pass for digits when turned or mirrored, by whether a font drew them.
SEEMS = {("turned", True): "01689", ("turned", False): "0125689",
         ("mirrored", True): "018", ("mirrored", False): "01258"}  # fmt: skip


def paste_cut(canvas, line, x, y, ink):
    """`paste` where the line may begin above or left of the canvas."""
    mask = line.mask[max(0, -y) :, max(0, -x) :]
    if mask.size and y < canvas.shape[0] and x < canvas.shape[1]:
        paste(canvas, dataclasses.replace(line, mask=mask), max(0, x), max(0, y), ink)


def burned_in(rng, flat):
    """A flat clock as it is laid over a picture, and how opaque it is, 0..1: its ink, at
    times with a rim, on a ground that lets all, some or little of the picture through."""
    ground = np.median(flat)
    ink = np.abs(flat - ground)
    ink /= max(1.0, ink.max())
    veil = rng.choice([0.0, rng.uniform(0.2, 0.9)])
    if rng.random() < 0.6:  # plain to see on most grounds
        flat = flat + (rng.uniform(200, 255) - flat) * ink
    if rng.random() < 0.4:
        reach = 2 * int(rng.integers(1, 4)) + 1
        wide = np.asarray(to_image(255 * ink).filter(ImageFilter.MaxFilter(reach)), np.float32) / 255
        is_light = (flat * ink).sum() > ground * ink.sum()
        rim = 0.0 if is_light else 255.0
        flat = flat + (rim + (flat - rim) * ink - flat) * wide
        ink = wide
    return flat, np.maximum(ink, veil)


def reader_strip(rng, assets):
    """A strip (uint8, STRIP_H x STRIP_W), the kind of character per column (uint8,
    IGNORE where either would do), digit shares per column (float32, 10) and their weight,
    and how each column's character lies (float32, 3): its middle below the strip's, log2 of
    its height, both against a well-cut strip's digits, and the weight of these two.
    """
    h = 44.0
    text = " ".join(clock_text(rng)) if rng.random() < 0.93 else other_text(rng)[0]
    if rng.random() < 0.1:
        text = f"{other_text(rng)[0][:4]} {text}" if rng.random() < 0.5 else f"{text} {other_text(rng)[0][:4]}"
    face = any_face(rng, assets, h, text, in_daylight=True)
    places = [i for i, c in enumerate(text) if c.isdigit()]
    dark = set()
    if rng.random() < 0.12 and places:
        dark = set(rng.choice(places, int(rng.integers(1, max(2, len(places) // 2))), replace=False))
    line = face.draw(text, h, dark)
    lit_cells = list(line.cells)
    lit = np.ones(line.mask.shape, np.float32)
    if rng.random() < BROKEN and places:
        lit = broken(rng, face, text, h, dark, line)
    mask, shares = line.mask.astype(np.float32), {}
    if rng.random() < 0.3 and len(places) >= 2:
        mask, shares = changing(rng, face, line, text, h, dark)
    mask = mask * lit
    if rng.random() < 0.05:  # multiplexed digits: some were lit for a part of the exposure
        for _, x, w, _ in lit_cells:
            mask[:, max(0, int(x - w / 2)) : int(x + w / 2)] *= rng.uniform(0.3, 1.0)
    if rng.random() < 0.1:  # the panel's own grid, which the camera's grid meets
        period, depth = rng.uniform(2.2, 5.0), rng.uniform(0.2, 0.7)
        lines_across = np.sin(np.arange(mask.shape[1]) * 2 * np.pi / period) * 0.5 + 0.5
        lines_down = np.sin(np.arange(mask.shape[0]) * 2 * np.pi / period) * 0.5 + 0.5
        mask *= 1 - depth * np.maximum(lines_across[None], lines_down[:, None] * rng.choice([0, 1]))
    ink, ground = levels(rng)
    margin = int(h * 0.9)
    shape = (mask.shape[0] + 2 * margin, mask.shape[1] + 2 * margin)
    flat, shows_marks = np.full(shape, ground, np.float32), True
    hinge, hinged = flat, np.float32(0)
    if rng.random() < TILED:
        flat, between, hinge, hinged = tiles.under(rng, shape, line, margin, margin, ground)
        shows_marks = abs(ink - between) > LEAST_OF_A_MARK
    flat = flat + (ink - flat) * np.pad(mask / 255, margin)
    flat = flat + (hinge - flat) * hinged
    if rng.random() < 0.25:  # another row of the clock, close by
        size = h * rng.uniform(0.5, 1.2)
        other = face.draw(" ".join(clock_text(rng)), size, ())
        gap = h * math.exp(rng.uniform(math.log(0.12), math.log(0.6)))
        y = margin + (line.bottom + gap - other.top if rng.random() < 0.5 else line.top - gap - other.bottom)
        x = int(rng.uniform(-0.5, 0.5) * mask.shape[1]) + margin
        paste_cut(flat, other, x, int(y), ink)
    if rng.random() < 0.35:  # neighbours above and below
        for where in (0, flat.shape[0] - margin):
            word, _ = other_text(rng)
            small = FontFace(rng, any_font(rng, assets.fonts)).draw(word, h * rng.uniform(0.25, 0.6))
            x = int(rng.integers(0, max(1, flat.shape[1] - small.mask.shape[1])))
            y = where - small.mask.shape[0] // 3
            if y > 0 and (y + small.top > margin + line.bottom + 4 or y + small.bottom < margin + line.top - 4):
                paste(flat, small, x, y, ink)
    if rng.random() < 0.07:
        draw_crack(rng, flat)
    uncovered = np.ones_like(flat)
    if rng.random() < COVERED:
        for _ in range(1 if rng.random() < 0.7 else 2):
            hides, bright = over_a_line(rng, flat.shape, line, margin, h)
            flat = flat + (bright - flat) * hides
            uncovered *= 1 - hides
    in_view = np.ones(len(lit_cells))
    plain = uncovered[margin:-margin, margin:-margin] * lit
    if plain.min() < 1:
        for i, (_, x, w, _) in enumerate(lit_cells):
            cell = np.s_[:, max(0, int(x - 0.5 * w)) : int(x + 0.5 * w) + 1]
            ink = line.mask[cell].astype(np.float32)
            if ink.any():
                in_view[i] = (ink * plain[cell]).sum() / ink.sum()
    if rng.random() < 0.3:
        flat = flat + np.linspace(0, rng.uniform(-60, 60), flat.shape[1], dtype=np.float32)
    flat = np.clip(flat, 0, 255)
    if rng.random() < 0.2:
        flat = bloom(rng, flat, h)
    sag = np.zeros(flat.shape[1])
    if rng.random() < 0.1:  # glass that curves: the line bends up or down
        middle = flat.shape[1] * rng.uniform(0.2, 0.8)
        sag = h * rng.uniform(-0.5, 0.5) * ((np.arange(flat.shape[1]) - middle) / (flat.shape[1] / 2)) ** 2
        rows = np.arange(flat.shape[0])[:, None] - np.round(sag).astype(int)[None]
        flat = np.take_along_axis(flat, rows.clip(0, flat.shape[0] - 1), 0)

    height, width = flat.shape
    h_cam = math.exp(rng.uniform(math.log(7.0), math.log(52.0)))
    over = 2 if h_cam < 22 else 1
    scale = h_cam / h
    corners = pose(rng, width, height, scale)
    low = corners.min(0) - 2
    corners = corners - low
    extent = np.ceil(corners.max(0) + 2).astype(int)
    to_camera = homography([[0, 0], [width, 0], [width, height], [0, height]], corners)
    canvas = to_image(background(rng, assets, 96)).resize(tuple(int(v) * over for v in extent), Image.BILINEAR)
    grow = np.diag([over, over, 1.0])
    size = canvas.size
    shown = np.ones_like(flat)
    if rng.random() < BURNED_IN:
        flat, shown = burned_in(rng, flat)
    hole = warp(to_image(255 * shown), grow @ to_camera, size)
    canvas.paste(warp(to_image(flat), grow @ to_camera, size), (0, 0), hole)
    camera = soften(rng, canvas.reduce(over) if over > 1 else canvas, h_cam)

    # The finder's quad is never exact: ends, height, slant and turn are a little off.
    first, last = line.cells[0], line.cells[-1]
    x0, x1 = first[1] - first[2] / 2 + margin, last[1] + last[2] / 2 + margin
    y0, y1 = line.top + margin, line.bottom + margin
    true = apply(to_camera, [[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    length = (x1 - x0) / (y1 - y0) * (STRIP_BOTTOM - STRIP_TOP)
    length *= rng.uniform(0.9, 1.1)
    up = (true[0] - true[3] + true[1] - true[2]) / 2
    ahead = (true[1] - true[0] + true[2] - true[3]) / 2
    ahead /= np.linalg.norm(ahead)
    k = rng.normal(0, 0.06, 4)
    slide = np.clip(rng.normal(0, 0.08), -0.2, 0.2)
    quad = true + up * k[:, None] + ahead * np.linalg.norm(up) * np.array([slide, slide, 0, 0])[:, None]
    if rng.random() < 0.5:  # ... or much off, so that the strip tells how to cut it better
        shift = np.clip(rng.normal(0, 0.13), -0.3, 0.3)
        grown = float(np.clip(math.exp(rng.normal(0, 0.13)), 0.75, 1.35))
        lean = rng.normal(0, 0.06)
        top, base = shift + (grown - 1) / 2, shift - (grown - 1) / 2
        quad = quad + up * np.array([top + lean, top - lean, base - lean, base + lean])[:, None]
        length /= grown
    start = rng.uniform(-12, 40) if length < STRIP_W - 30 else rng.uniform(-max(0.0, length - STRIP_W) - 12, 12)
    target = [[start, STRIP_TOP], [start + length, STRIP_TOP], [start + length, STRIP_BOTTOM], [start, STRIP_BOTTOM]]
    # Upside down or in a mirror: shapes that are digits no more say so.
    pick = rng.random()
    view = "turned" if pick < 0.06 else "mirrored" if pick < 0.13 else ""
    if view == "turned":
        quad = quad[[2, 3, 0, 1]]
    elif view == "mirrored":
        quad = quad[[1, 0, 3, 2]]
    seems = SEEMS[view, isinstance(face, FontFace)] if view else ""
    to_strip = homography(quad, target)
    strip = np.asarray(warp(camera, to_strip, (STRIP_W, STRIP_H)))

    columns = STRIP_W // STRIP_STRIDE
    kind = np.zeros(columns, np.uint8)
    share = np.zeros((columns, 10), np.float32)
    weight = np.zeros(columns, np.float32)
    at = (np.arange(columns) + 0.5) * STRIP_STRIDE
    xs = np.array([c[1] + margin for c in lit_cells])
    wide = np.array([c[2] for c in lit_cells])
    down = sag[xs.astype(int).clip(0, len(sag) - 1)]
    mids = apply(to_strip @ to_camera, np.c_[xs, (y0 + y1) / 2 + down])
    edge = apply(to_strip @ to_camera, np.c_[xs + wide / 2, (y0 + y1) / 2 + down])
    tops = apply(to_strip @ to_camera, np.c_[xs, y0 + down])
    bases = apply(to_strip @ to_camera, np.c_[xs, y1 + down])
    place = np.zeros((columns, 3), np.float32)
    for i, (ch, _, _, on) in enumerate(lit_cells):
        x, w = mids[i, 0], 2 * abs(edge[i, 0] - mids[i, 0])
        d = np.abs(at - x)
        core, rim = d <= max(1.2, 0.2 * w), d <= max(2.2, 0.36 * w)
        kind[rim & (kind == NONE)] = IGNORE
        if in_view[i] < VIEW_THAT_TELLS:
            kind[core] = OTHER if in_view[i] < VIEW_OF_NOTHING else IGNORE
            share[core] = 0.1
            weight[core] = float(ch.isdigit() and not view)
            continue
        if on and ch.isdigit():
            middle = ((tops[i, 1] + bases[i, 1]) / 2 - STRIP_H / 2) / (STRIP_BOTTOM - STRIP_TOP)
            tall = np.linalg.norm(tops[i] - bases[i]) / (STRIP_BOTTOM - STRIP_TOP)
            place[rim] = middle, math.log2(max(tall, 0.1)), 1.0
        is_hidden = ch in KIND and not shows_marks
        if view:
            kind[core] = IGNORE if ch in seems or ch in ".;" or not on or is_hidden else COLON if ch == ":" else OTHER
            if on and ch.isdigit() and ch not in seems:
                kind[core] = TURNED if view == "turned" else MIRROR
        elif ch.isdigit():
            kind[core] = DIGIT if on and in_view[i] > VIEW_OF_A_DIGIT else IGNORE
            row = np.full(10, 0.1, np.float32) if not on else np.zeros(10, np.float32)
            if on:
                for digit, a in shares.get(i, {ch: 1.0}).items():
                    row[int(digit)] += a
            share[core] = row
            weight[core] = 1.0
        elif ch in KIND:
            kind[core] = IGNORE if is_hidden else KIND[ch]
        else:
            kind[core] = OTHER
    return strip, kind, share, weight, place


def bloom(rng, flat, h):
    """Light that is too much for the lens: bright ink spreads, near and far, then clips."""
    over = math.exp(rng.uniform(0, math.log(6))) if np.median(flat) < 70 else 1.0
    light = flat * np.maximum(1, over * (flat / 255) ** 1.5)
    image = to_image(light)
    near = np.asarray(image.filter(ImageFilter.GaussianBlur(h * rng.uniform(0.04, 0.15))), np.float32)
    wide = np.asarray(image.filter(ImageFilter.BoxBlur(h * rng.uniform(0.2, 0.6))), np.float32)
    return np.clip(light + near * rng.uniform(0.2, 1.4) + wide * rng.uniform(0, 0.7), 0, 255)


def draw_crack(rng, flat):
    h, w = flat.shape
    image = to_image(flat)
    x, reach = rng.uniform(0, w), rng.uniform(0.05, 0.5) * h
    line = (x, 0, x + rng.uniform(-h, h), h)
    ImageDraw.Draw(image).line(line, fill=int(rng.uniform(0, 255)), width=max(1, int(reach * 0.15)))
    flat[:] = np.asarray(image, np.float32)
