"""Training pictures for the network that tells whether AM or PM stands beside a clock: `half_day_picture`.

A line of digits, cut level out of a picture with what surrounds it, as `src/vision/half_day.rs` cuts it; about
it stand AM or PM, in the places and sizes that displays have, and other words, of which some hold AM or PM and
others look like them.
"""

import math

import numpy as np
from PIL import Image

from faces import any_face, any_font, FontFace, MatrixFace
from filming import background, homography, soften, to_image, warp
from screens import clock_text, lay, levels, WORDS

# Size of a picture, its grid, and the height of the clock's digits, px.
WIDE_PX, HIGH_PX, HALVES_STRIDE, DIGITS_PX = 320, 192, 8, 32.0
# Share of the pictures in which AM or PM is written.
LETTERED = 0.5
# Heights of capitals, in digit heights.
SMALLEST, LARGEST = 0.2, 1.0
# Share of letters in the clock's own face, and of those of them that begin or end its line.
OWN, IN_LINE = 0.4, 0.6
# How far beside the digits they stand, in digit heights, and how far above or below.
NEAREST, FARTHEST_BESIDE, FARTHEST_ABOVE = 0.06, 4.0, 2.5
# Cells that far beside the letters, in px, may go either way.
RIM_PX = 8
# Letters that are filmed smaller than this, px, may go either way, too.
LEGIBLE_PX = 5.0

MARKS = ["AM", "PM"] * 5 + ["am", "pm"] * 2 + ["A.M.", "P.M.", "a.m.", "p.m.", "a.m.", "p.m.", "Am", "Pm"]
# Words that hold AM or PM, and their share of all other words. Crews write some of them before the digits.
HOLDING = """CAM CAMERA Cam cam TEAM Team team SAM JAM EXAM RAMP LAMP STREAM Stream stream GAMMA PUMP AMBER AMP AMB FPM
RPM BPM PPM rpm bpm ppm DAM HAM SPAM PMT AMS CLAMP STAMP SAMPLE Sample sample Camera camera Ampere""".split()
HELD = 0.3
# Labels of clocks and recorders, and words that nearly hold them.
LABELS = """DF NDF TC UTC GMT FPS fps REC CAM A B CH 1 2 ISO ND EXT INT MON TUE WED THU FRI SAT SUN JAN FEB MAR APR MAY
JUN JUL AUG SEP OCT NOV DEC BAT LOW HI FM MP PH PW RM PRIME PN AN AW PA MA DM km mm cm Hz kHz dB hrs min sec h m s DATE TIME
ALARM SET MODE STBY OK""".split()


def other_word(rng):
    if rng.random() < HELD:
        word = str(rng.choice(HOLDING))
        behind = str(rng.choice(["A", "B", "C", "D", "1", "2", "3", "10", "No"]))
        return f"{word}{rng.choice(['', ' '])}{behind}" if rng.random() < 0.4 else word
    pick = rng.random()
    if pick < 0.45:
        return str(rng.choice(LABELS))
    if pick < 0.6:
        word = " ".join(rng.choice(WORDS, int(rng.integers(1, 3))))
        return word.upper() if rng.random() < 0.5 else word
    if pick < 0.8:
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        word = "".join(rng.choice(list(letters), int(rng.integers(1, 5))))
        word = word if rng.random() < 0.7 else word.lower()
        return word if word.upper() not in ("AM", "PM") else "TC"
    if pick < 0.9:
        return "".join(str(d) for d in rng.integers(0, 10, int(rng.integers(1, 5))))
    return f"{rng.choice(['23.98', '24', '25', '29.97', '30', '50'])} fps"


def inked(line):
    """Left, top, right and bottom of a line's ink within its mask; `None` without any."""
    rows, columns = np.flatnonzero((line.mask > 60).any(1)), np.flatnonzero((line.mask > 60).any(0))
    if not len(rows):
        return None
    return columns[0], rows[0], columns[-1] + 1, rows[-1] + 1


def beside(rng, clock, size):
    """Where the upper left corner of something of `size` stands, beside the box of a clock's digits."""
    left, top, right, bottom = clock
    wide, high = size
    tall = bottom - top
    pick = rng.random()
    farthest = FARTHEST_BESIDE if pick < 0.45 else FARTHEST_ABOVE
    gap = tall * math.exp(rng.uniform(math.log(NEAREST), math.log(farthest)))
    if pick < 0.3:  # behind the digits: at their foot, their top, or anywhere
        x = right + gap
        y = [bottom - high, top, top + rng.uniform(-0.3, 1.3) * (tall - high)][rng.choice(3, p=[0.45, 0.3, 0.25])]
    elif pick < 0.45:  # before them
        x = left - gap - wide
        y = [bottom - high, top, top + rng.uniform(-0.3, 1.3) * (tall - high)][rng.choice(3, p=[0.4, 0.4, 0.2])]
    else:  # above or below them
        y = top - gap - high if pick < 0.7 else bottom + gap
        x = [left, (left + right - wide) / 2, right - wide, left + rng.uniform(-0.3, 1.3) * (right - left)][rng.integers(4)]
    return int(x), int(y)


def own_letters(rng, face):
    """The clock's own face, at times, where that has letters; `None` otherwise."""
    has_letters = isinstance(face.font if isinstance(face, MatrixFace) else face, FontFace)
    return face if has_letters and rng.random() < OWN else None


def half_day_picture(rng, assets):
    """A picture (uint8), which of its cells hold AM or PM, and which of them count (float32).
    All of it as the only sample in a list."""
    canvas = background(rng, assets, WIDE_PX)[:HIGH_PX].copy()
    h = DIGITS_PX * math.exp(rng.uniform(-0.12, 0.12))
    text = clock_text(rng, 0)[0]
    clock_face = any_face(rng, assets, h, text)
    line = clock_face.draw(text, h)
    box = inked(line)
    if box is None:
        return []
    long = box[2] - box[0]
    at_x = int(rng.uniform(60 - long, WIDE_PX - 60))
    at_y = int(rng.uniform(8, HIGH_PX - h - 8))
    clock = (at_x, at_y, at_x + long, at_y + box[3] - box[1])
    ink, ground = levels(rng)
    things, taken, smallest = [], [clock], h
    marks = int(rng.choice([1, 1, 1, 2])) if rng.random() < LETTERED else 0
    for i in range(marks + int(rng.choice([0, 1, 2, 3]))):
        is_mark = i < marks
        word = str(rng.choice(MARKS)) if is_mark else other_word(rng)
        size = h * math.exp(rng.uniform(math.log(SMALLEST), math.log(LARGEST)))
        face = own_letters(rng, clock_face)
        is_in_line = face is not None and rng.random() < IN_LINE
        if is_in_line:
            size = h
        elif face is None:
            path = any_font(rng, assets.fonts)
            face = MatrixFace(rng, path, False) if size > 12 and rng.random() < 0.06 else FontFace(rng, path)
        drawn = face.draw(word, size)
        of = inked(drawn)
        if of is None:
            continue
        for _ in range(6):
            x, y = beside(rng, clock, (of[2] - of[0], of[3] - of[1]))
            if is_in_line:  # on the base line, parted from the digits by a space or less
                gap, y = h * rng.uniform(NEAREST, 0.9), clock[1] + of[1] - box[1]
                x = int(clock[2] + gap if rng.random() < 0.6 else clock[0] - gap - of[2] + of[0])
            its = (x, y, x + of[2] - of[0], y + of[3] - of[1])
            room = 0.05 * h
            is_free = all(its[0] > t[2] + room or its[2] < t[0] - room or its[1] > t[3] + room / 2 or its[3] < t[1] - room / 2
                          for t in taken)  # fmt: skip
            if is_free and its[2] > 4 and its[3] > 4 and its[0] < WIDE_PX - 4 and its[1] < HIGH_PX - 4:
                things.append((drawn, of, its, size if is_mark else None))
                taken.append(its)
                smallest = min(smallest, size) if is_mark else smallest
                break
    plate = rng.random()
    if plate < 0.85:
        around = np.array(taken)
        low, high = around[:, :2].min(0), around[:, 2:].max(0)
        margin = rng.uniform(0.1, 1.5, 4) * h if plate < 0.5 else rng.uniform(0.5, 6, 4) * h
        x0, y0 = (int(max(0, v)) for v in low - margin[:2])
        x1, y1 = (int(max(0, v)) for v in high + margin[2:])
        canvas[y0:y1, x0:x1] = ground
        if rng.random() < 0.2:  # a light falls on it
            canvas[y0:y1, x0:x1] += np.linspace(0, rng.uniform(-40, 40), max(0, min(x1, WIDE_PX) - x0), dtype=np.float32)
        if rng.random() < 0.3:  # an edge
            edge = int(rng.integers(1, 5))
            level = rng.uniform(0, 255)
            for part in (canvas[y0:y1, x0 : x0 + edge], canvas[y0:y1, max(0, x1 - edge) : x1],
                         canvas[y0 : y0 + edge, x0:x1], canvas[max(0, y1 - edge) : y1, x0:x1]):  # fmt: skip
                part[:] = level
    lay(canvas, line.mask[box[1] : box[3], box[0] : box[2]], *clock[:2], ink)
    target = np.zeros((HIGH_PX // HALVES_STRIDE, WIDE_PX // HALVES_STRIDE), np.float32)
    weight = np.ones_like(target)
    for drawn, of, its, _ in things:
        level = ink if rng.random() < 0.6 else ground + (ink - ground) * rng.uniform(0.35, 1.0)
        lay(canvas, drawn.mask[of[1] : of[3], of[0] : of[2]], *its[:2], level)
    jitter = rng.normal(0, 1.5, (4, 2)) + rng.normal(0, 2, 2)
    corners = np.array([[0, 0], [WIDE_PX, 0], [WIDE_PX, HIGH_PX], [0, HIGH_PX]], np.float64)
    moved = corners + jitter
    matrix = homography(corners, moved)
    yy, xx = np.mgrid[0 : target.shape[0], 0 : target.shape[1]]
    cells = (np.stack([xx, yy], 2) + 0.5) * HALVES_STRIDE - jitter.mean(0)
    # Filmed smaller than it is looked at, more often than not.
    finer = math.exp(rng.uniform(math.log(0.8), math.log(2.8)))
    for _, _, (x0, y0, x1, y1), size in things:
        aside = np.maximum(np.maximum(x0 - cells[..., 0], cells[..., 0] - x1), np.maximum(y0 - cells[..., 1], cells[..., 1] - y1))
        # What the edge leaves of a word may be AM or PM.
        is_whole = x0 > 2 and y0 > 2 and x1 < WIDE_PX - 2 and y1 < HIGH_PX - 2
        if is_whole and size is None:
            continue
        # Of the smallest letters the nearest cell is marked at least.
        core = aside <= max(0.0, aside.min())
        weight[(aside < RIM_PX) & ~core] = 0.0
        if is_whole and size / finer >= LEGIBLE_PX:
            target[core], weight[core] = 1.0, 1.0
        else:
            weight[core] = 0.0
    picture = warp(to_image(canvas), matrix, (WIDE_PX, HIGH_PX))
    small = picture.resize((int(WIDE_PX / finer), int(HIGH_PX / finer)), Image.BILINEAR, reducing_gap=2.0)
    # Focus and hand spoil small letters sooner than the digits: no more than leaves both to be read.
    picture = soften(rng, small, 1.5 * smallest / finer).resize((WIDE_PX, HIGH_PX), Image.BILINEAR)
    return [(np.asarray(picture), target, weight)]
