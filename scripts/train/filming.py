"""How a flat screen comes into a picture: how it stands, what lies behind it, what lens, shake and codec
do to it; and how a clock is laid over a picture instead."""

import io
import math

import cv2
import numpy as np
from PIL import Image

cv2.setNumThreads(1)  # there is a renderer for each core

from faces import rotation_about
import light

# Share of clocks that are laid over the picture instead of standing on a screen.
BURNED_IN = 0.13


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


# OpenCV counts from the middle of the first pixel, everything here from its corner.
TO_CORNERS = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
TO_MIDDLES = np.linalg.inv(TO_CORNERS)


def warp(image, matrix, size):
    """Warps a PIL picture by `matrix` (source to target) into `size`."""
    return Image.fromarray(cv2.warpPerspective(np.asarray(image), TO_MIDDLES @ matrix @ TO_CORNERS, size))


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


def shaken(rng, lit, h):
    """Light along a curved way of the hand."""
    reach = rng.uniform(0.03, 0.25 if rng.random() < 0.7 else 0.45) * h
    theta, bend = rng.uniform(0, math.pi), rng.normal(0, 0.4)
    steps = int(np.clip(reach * 1.5, 2, 9))
    total = np.zeros_like(lit)
    for t in np.linspace(-0.5, 0.5, steps):
        along, aside = reach * t, reach * bend * (t * t - 0.08)
        dx = int(round(math.cos(theta) * along - math.sin(theta) * aside))
        dy = int(round(math.sin(theta) * along + math.cos(theta) * aside))
        total += np.roll(lit, (dy, dx), (0, 1))
    return total / steps


def soften(rng, image, h):
    """Focus, shake, noise and a codec, each at times. `h`: digit height in px of `image`."""
    is_out_of_focus, is_shaken = rng.random() < 0.5, rng.random() < 0.3
    if is_out_of_focus or is_shaken:
        curve = light.any_curve(rng)
        lit = light.of_codes(np.asarray(image, np.float32), curve)
        if is_out_of_focus:
            lit = cv2.GaussianBlur(lit, (0, 0), max(rng.uniform(0, 0.09) * h, 0.01))
        if is_shaken:
            lit = shaken(rng, lit, h)
        image = to_image(light.codes_of(lit, curve))
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
        wide = cv2.dilate(ink, np.ones((reach, reach), np.uint8))
        is_light = (flat * ink).sum() > ground * ink.sum()
        rim = 0.0 if is_light else 255.0
        flat = flat + (rim + (flat - rim) * ink - flat) * wide
        ink = wide
    return flat, np.maximum(ink, veil)


def bloom(rng, flat, h):
    """Light that is too much for the lens: bright ink spreads, near and far, then clips."""
    over = math.exp(rng.uniform(0, math.log(6))) if np.median(flat) < 70 else 1.0
    light = flat * np.maximum(1, over * (flat / 255) ** 1.5)
    clipped = np.clip(light, 0, 255).astype(np.float32)
    near = cv2.GaussianBlur(clipped, (0, 0), h * rng.uniform(0.04, 0.15))
    reach = 2 * int(h * rng.uniform(0.2, 0.6)) + 1
    wide = cv2.blur(clipped, (reach, reach))
    return np.clip(light + near * rng.uniform(0.2, 1.4) + wide * rng.uniform(0, 0.7), 0, 255)
