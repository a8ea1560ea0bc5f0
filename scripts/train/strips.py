"""The reader's training pictures: `reader_strips` gives rectified strips with the digit at each place.

It shares no code with the footage simulator in src/rehearse that measures the result.
"""

import dataclasses
import math

import numpy as np
from PIL import Image, ImageDraw

from covers import mirrored_light, over_a_line
from faces import any_face, any_font, broken, FontFace
from filming import apply, background, bloom, BURNED_IN, burned_in, homography, pose, soften, to_image, warp
import light
from pens import PenFace
from screens import clock_text, levels, other_text, paste
from sizes import TwoSizes
import tiles

# Strip height and width in px, px per column, and where the digits stand.
STRIP_H, STRIP_W, STRIP_STRIDE = 32, 256, 2
STRIP_TOP, STRIP_BOTTOM = 6.0, 26.0
# Digit height in px at which lines are drawn.
DRAWN_PX = 44.0

NONE, DIGIT, COLON, SEMICOLON, DOT, OTHER, TURNED, MIRROR = range(8)
KIND = {":": COLON, ";": SEMICOLON, ".": DOT}
IGNORE = 255
# Share of a character's ink in plain view. What covers and broken displays leave of it: so much
# is a digit for certain, of less it is left open whether it is one. It tells which one as far as
# digits differ there, which the network learns from how often each one was right; less than that
# is not worth a guess, and of next to nothing the cover is all there is.
VIEW_OF_A_DIGIT, VIEW_THAT_TELLS, VIEW_OF_NOTHING = 0.45, 0.2, 0.08
# Share of strips with something over a part of the line, and of those on which a part of a digit
# stays dark: a segment, a row or column of dots, a half.
COVERED, BROKEN = 0.38, 0.05
# Share of strips on whose glass a lamp or a window is mirrored.
MIRRORED_LIGHT = 0.08
# Share of strips whose digits stand on tiles, and the contrast of a mark to what lies between these
# below which nobody can tell it.
TILED, LEAST_OF_A_MARK = 0.08, 20
# Share of lines of digits whose last ones are smaller than the first.
TWO_SIZES = 0.08
# Share of lines that are caught while their count changes.
CHANGING = 0.36
# Share of exposures across a change that hold more than one, as of hundredths, and how many counts
# they hold at most.
PILED, MOST_COUNTS = 0.25, 5
# Share of pictures that a lens or a codec squeezed sideways.
SQUEEZED = 0.08
# Strips of one drawing, each filmed from elsewhere by another camera and cut in its own way: drawing
# takes longer than filming.
TAKES = 2


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


def exposed(rng, face, line, text, h, dark, ink, ground):
    """As `changing`, of an exposure across one change or several."""
    stood = [text]
    for _ in range(int(rng.integers(2, MOST_COUNTS)) if rng.random() < PILED else 1):
        stood.append(caught_between(rng, stood[-1]))
    lines = [line, *(face.draw(t, h, dark) for t in stood[1:])]
    if any(other.mask.shape != line.mask.shape for other in lines):
        return line.mask.astype(np.float32), {}
    if len(lines) == 2:
        part = rng.random()
        parts = np.array([part, 1 - part])
    else:  # all but the first and the last stood throughout
        parts = np.ones(len(lines))
        parts[[0, -1]] = rng.random(2)
        parts /= parts.sum()
    curve = light.any_curve(rng)
    masks = (ground + (ink - ground) * other.mask.astype(np.float32) / 255 for other in lines)
    together = sum(part * light.of_codes(codes, curve) for part, codes in zip(parts, masks))
    mask = 255 * (light.codes_of(together, curve) - ground) / (ink - ground)
    shares = {}
    for i, cells in enumerate(zip(*(other.cells for other in lines))):
        of = {}
        for part, (digit, *_) in zip(parts, cells):
            of[digit] = of.get(digit, 0.0) + part
        if len(of) > 1:
            shares[i] = of
    return mask, shares


def changing(rng, face, line, text, h, dark, ink, ground):
    """A mask caught while the count changes, and for each cell that changes its digits'
    shares of the light. `ink`, `ground`: the codes of both."""
    pick = rng.random()
    if pick < 0.6:
        return exposed(rng, face, line, text, h, dark, ink, ground)
    old = face.draw(caught_between(rng, text), h, dark)
    mask = line.mask.astype(np.float32)
    if old.mask.shape != line.mask.shape:
        return mask, {}
    was = old.mask.astype(np.float32)
    new_share = np.ones(len(line.cells))
    if pick < 0.8:  # scan-out down or up the digits
        row = rng.uniform(line.top - 4, line.bottom + 4)
        tops, bottoms = np.array(line.spans).T
        share = np.clip((row - tops) / (bottoms - tops), 0, 1)
        rows = np.arange(mask.shape[0])[:, None] < row
        is_down = rng.random() < 0.5
        mask = np.where(rows == is_down, mask, was)
        new_share = share if is_down else 1 - share
    elif pick < 0.93:  # scan-out along the line, either way
        at = rng.uniform(0, mask.shape[1])
        columns = np.arange(mask.shape[1])[None, :] < at
        is_ahead = rng.random() < 0.5
        mask = np.where(columns == is_ahead, mask, was)
        for i, (_, x, w, _) in enumerate(line.cells):
            share = float(np.clip((at - (x - w / 2)) / max(w, 1.0), 0, 1))  # a dot may have no width
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


def draw_crack(rng, flat):
    h, w = flat.shape
    image = to_image(flat)
    x, reach = rng.uniform(0, w), rng.uniform(0.05, 0.5) * h
    line = (x, 0, x + rng.uniform(-h, h), h)
    ImageDraw.Draw(image).line(line, fill=int(rng.uniform(0, 255)), width=max(1, int(reach * 0.15)))
    flat[:] = np.asarray(image, np.float32)


@dataclasses.dataclass
class Sheet:
    """A line of a clock as it lies flat, with all that is on its glass."""

    flat: np.ndarray  # float32, 0..255
    face: object
    cells: list  # characters with their middle, width (px of the line's mask) and whether they are lit
    spans: np.ndarray  # top and base of each cell's digits, in px of `flat`
    shares: dict  # digits' shares of the light, by cell that changes
    in_view: np.ndarray  # share of each cell's ink that nothing covers
    shows_marks: bool
    left: float  # where the line begins and ends, and its digits' top and base, in px of `flat`
    right: float
    top: float
    base: float
    margin: int  # px of `flat` beside the line's mask
    sag: np.ndarray  # px by which the glass bends each column down


def reader_strips(rng, assets):
    """`TAKES` samples of one line. Each: a strip (uint8, STRIP_H x STRIP_W), the kind of
    character per column (uint8, IGNORE where either would do), digit shares per column
    (float32, 10) and their weight, and how each column's character lies (float32, 3): its
    middle below the strip's, log2 of its height, both against a well-cut strip's digits, and
    the weight of these two.
    """
    sheet = drawn(rng, assets)
    return [labelled(sheet, *filmed(rng, assets, sheet)) for _ in range(TAKES)]


def drawn(rng, assets):
    """A `Sheet` with digits about `DRAWN_PX` tall."""
    h = DRAWN_PX
    text = " ".join(clock_text(rng)) if rng.random() < 0.93 else other_text(rng)[0]
    if rng.random() < 0.1:
        text = f"{other_text(rng)[0][:4]} {text}" if rng.random() < 0.5 else f"{text} {other_text(rng)[0][:4]}"
    of_one_size = face = any_face(rng, assets, h, text, in_daylight=True)
    if rng.random() < TWO_SIZES and PenFace.CHARACTERS.issuperset(text):
        face = TwoSizes(rng, of_one_size)
    places = [i for i, c in enumerate(text) if c.isdigit()]
    dark = set()
    if rng.random() < 0.12 and places:
        dark = set(rng.choice(places, int(rng.integers(1, max(2, len(places) // 2))), replace=False))
    line = face.draw(text, h, dark)
    lit_cells = list(line.cells)
    lit = np.ones(line.mask.shape, np.float32)
    if rng.random() < BROKEN and places:
        lit = broken(rng, face, text, h, dark, line)
    ink, ground = levels(rng)
    mask, shares = line.mask.astype(np.float32), {}
    if rng.random() < CHANGING and len(places) >= 2:
        mask, shares = changing(rng, face, line, text, h, dark, ink, ground)
    mask = mask * lit
    if rng.random() < 0.05:  # multiplexed digits: some were lit for a part of the exposure
        for _, x, w, _ in lit_cells:
            mask[:, max(0, int(x - w / 2)) : int(x + w / 2)] *= rng.uniform(0.3, 1.0)
    if rng.random() < 0.1:  # the panel's own grid, which the camera's grid meets
        period, depth = rng.uniform(2.2, 5.0), rng.uniform(0.2, 0.7)
        lines_across = np.sin(np.arange(mask.shape[1]) * 2 * np.pi / period) * 0.5 + 0.5
        lines_down = np.sin(np.arange(mask.shape[0]) * 2 * np.pi / period) * 0.5 + 0.5
        mask *= 1 - depth * np.maximum(lines_across[None], lines_down[:, None] * rng.choice([0, 1]))
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
        other = of_one_size.draw(" ".join(clock_text(rng)), size, ())
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
    if rng.random() < MIRRORED_LIGHT:
        flat, seen = mirrored_light(rng, np.clip(flat, 0, 255), line, margin, h, ink, ground)
        uncovered *= seen
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
    first, last = line.cells[0], line.cells[-1]
    return Sheet(flat, of_one_size, lit_cells, np.array(line.spans) + margin, shares, in_view, shows_marks,
                 first[1] - first[2] / 2 + margin, last[1] + last[2] / 2 + margin,
                 line.top + margin, line.bottom + margin, margin, sag)  # fmt: skip


def filmed(rng, assets, sheet):
    """A strip cut from a picture of `sheet`, the way it is seen ("", "turned" or "mirrored") and
    the matrix from px of the sheet to px of the strip."""
    h, flat = DRAWN_PX, sheet.flat
    height, width = flat.shape
    h_cam = math.exp(rng.uniform(math.log(7.0), math.log(52.0)))
    over = 2 if h_cam < 22 else 1
    scale = h_cam / h
    corners = pose(rng, width, height, scale)
    if rng.random() < SQUEEZED:
        corners[:, 0] *= rng.uniform(0.5, 1.0)
    low = corners.min(0) - 2
    corners = corners - low
    extent = np.ceil(corners.max(0) + 2).astype(int)
    to_camera = homography([[0, 0], [width, 0], [width, height], [0, height]], corners)
    canvas = to_image(background(rng, assets, 96)).resize(tuple(int(v) * over for v in extent), Image.BILINEAR)
    grow = np.diag([over, over, 1.0])
    size = canvas.size
    if rng.random() < BURNED_IN:
        flat, shown = burned_in(rng, flat)
        hole = warp(to_image(255 * shown), grow @ to_camera, size)
    else:
        hole = Image.new("L", size, 0)
        ImageDraw.Draw(hole).polygon([tuple(corner) for corner in corners * over], fill=255)
    canvas.paste(warp(to_image(flat), grow @ to_camera, size), (0, 0), hole)
    camera = soften(rng, canvas.reduce(over) if over > 1 else canvas, h_cam)

    # The finder's quad is never exact: ends, height, slant and turn are a little off.
    true = apply(to_camera, [[sheet.left, sheet.top], [sheet.right, sheet.top],
                             [sheet.right, sheet.base], [sheet.left, sheet.base]])  # fmt: skip
    up = (true[0] - true[3] + true[1] - true[2]) / 2
    ahead = (true[1] - true[0] + true[2] - true[3]) / 2
    # Nobody knows how a display is turned away: a strip shows its digits as narrow as they are seen.
    length = np.linalg.norm(ahead) / np.linalg.norm(up) * (STRIP_BOTTOM - STRIP_TOP)
    length *= rng.uniform(0.9, 1.1)
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
    to_strip = homography(quad, target)
    return np.asarray(warp(camera, to_strip, (STRIP_W, STRIP_H))), view, to_strip @ to_camera


def labelled(sheet, strip, view, to_strip):
    """A sample of `reader_strips`, from what `filmed` gave."""
    seems = SEEMS[view, isinstance(sheet.face, FontFace)] if view else ""
    columns = STRIP_W // STRIP_STRIDE
    kind = np.zeros(columns, np.uint8)
    share = np.zeros((columns, 10), np.float32)
    weight = np.zeros(columns, np.float32)
    at = (np.arange(columns) + 0.5) * STRIP_STRIDE
    xs = np.array([c[1] + sheet.margin for c in sheet.cells])
    wide = np.array([c[2] for c in sheet.cells])
    down = sheet.sag[xs.astype(int).clip(0, len(sheet.sag) - 1)]
    middle = sheet.spans.mean(1) + down
    mids = apply(to_strip, np.c_[xs, middle])
    edge = apply(to_strip, np.c_[xs + wide / 2, middle])
    tops, bases = (apply(to_strip, np.c_[xs, end + down]) for end in sheet.spans.T)
    place = np.zeros((columns, 3), np.float32)
    for i, (ch, _, _, on) in enumerate(sheet.cells):
        x, w = mids[i, 0], 2 * abs(edge[i, 0] - mids[i, 0])
        d = np.abs(at - x)
        core, rim = d <= max(1.2, 0.2 * w), d <= max(2.2, 0.36 * w)
        kind[rim & (kind == NONE)] = IGNORE
        if sheet.in_view[i] < VIEW_THAT_TELLS:
            kind[core] = OTHER if sheet.in_view[i] < VIEW_OF_NOTHING else IGNORE
            share[core] = 0.1
            weight[core] = float(ch.isdigit() and not view)
            continue
        if on and ch.isdigit():
            middle = ((tops[i, 1] + bases[i, 1]) / 2 - STRIP_H / 2) / (STRIP_BOTTOM - STRIP_TOP)
            tall = np.linalg.norm(tops[i] - bases[i]) / (STRIP_BOTTOM - STRIP_TOP)
            place[rim] = middle, math.log2(max(tall, 0.1)), 1.0
        is_hidden = ch in KIND and not sheet.shows_marks
        if view:
            kind[core] = IGNORE if ch in seems or ch in ".;" or not on or is_hidden else COLON if ch == ":" else OTHER
            if on and ch.isdigit() and ch not in seems:
                kind[core] = TURNED if view == "turned" else MIRROR
        elif ch.isdigit():
            kind[core] = DIGIT if on and sheet.in_view[i] > VIEW_OF_A_DIGIT else IGNORE
            row = np.full(10, 0.1, np.float32) if not on else np.zeros(10, np.float32)
            if on:
                for digit, a in sheet.shares.get(i, {ch: 1.0}).items():
                    row[int(digit)] += a
            share[core] = row
            weight[core] = 1.0
        elif ch in KIND:
            kind[core] = IGNORE if is_hidden else KIND[ch]
        else:
            kind[core] = OTHER
    return strip, kind, share, weight, place
