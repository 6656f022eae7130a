#!/usr/bin/env python3
"""Draws photographs of fry by other means than src/render, with which it shares no code, no constant and no anatomy.

Every fish is painted in body coordinates (share of the length from the snout, and across, back positive) found by
nearest neighbours on its midline; light from below is taken away by optical depth, light from above comes back from
it. Writes JPEGs and `truth.csv`: photograph, kind, midline ends and middle in pixels, total length, bladder, view.

pip: numpy scipy opencv-python-headless
usage: draw.py DIR [--seed 1] [--count 12] [--kinds pad faint dark tray bench wells microscope crowd]
"""
import argparse, csv, os
from dataclasses import dataclass
import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

KINDS = ('pad', 'faint', 'dark', 'tray', 'bench', 'wells', 'microscope', 'crowd')
FROM_BELOW = ('pad', 'faint', 'bench', 'wells', 'microscope', 'crowd')
POINTS = 600
# Half-widths, back and belly, as shares of the length: the slender one follows widths measured on photographs
# of newly hatched coregonids (own measurement), the others are deeper (from memory).
STATIONS = (0, .02, .06, .13, .25, .4, .55, .7, .84, .9, .95, 1)
FORMS = {
    'slender': ((.004, .02, .034, .038, .034, .027, .022, .018, .013, .011, .008, .004),
                (.004, .018, .036, .042, .044, .032, .022, .018, .013, .011, .008, .004)),
    'middling': ((.004, .025, .05, .066, .062, .055, .045, .032, .02, .016, .014, .008),
                 (.004, .03, .055, .07, .075, .06, .04, .028, .02, .016, .014, .008)),
    'deep': ((.006, .035, .065, .09, .085, .07, .052, .035, .022, .018, .018, .012),
             (.006, .035, .07, .1, .11, .075, .05, .033, .022, .018, .018, .012)),
}


def bump(x, width):
    return np.exp(-(x / width) ** 2)


def step(x):
    """From 0 to 1 over about a pixel."""
    return 1 / (1 + np.exp(-np.clip(x / .6, -60, 60)))


def texture(rng, height, width, cells, octaves=5, fall=.6):
    """Noise of several scales with standard deviation 1."""
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        n = cells * 2 ** octave
        grid = rng.normal(size=(max(2, n * height // width) + 2, n + 2)).astype(np.float32)
        total += fall ** octave * cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC)
    return total / total.std()


@dataclass
class Midline:
    x: np.ndarray
    y: np.ndarray
    heading: np.ndarray

    @staticmethod
    def draw(rng, length, bend_deg):
        s = np.linspace(0, 1, POINTS)
        turn = np.deg2rad(bend_deg) * rng.choice([-1, 1])
        bend = bump(s - rng.uniform(.4, .7), rng.uniform(.15, .4))
        bend *= turn / bend.sum()
        if rng.random() < .35:
            back = bump(s - rng.uniform(.2, .9), rng.uniform(.1, .3))
            bend -= back * turn * rng.uniform(.3, 1) / back.sum()
        heading = np.cumsum(bend) + rng.uniform(0, 2 * np.pi)
        x, y = (np.concatenate([[0], np.cumsum(f(heading[:-1]))]) * length / (POINTS - 1) for f in (np.cos, np.sin))
        return Midline(x - x.mean(), y - y.mean(), heading)

    def moved(self, dx, dy):
        return Midline(self.x + dx, self.y + dy, self.heading)

    @property
    def points(self):
        return np.c_[self.x, self.y]


@dataclass
class Style:
    """What the fish of one photograph share."""
    back: PchipInterpolator
    belly: PchipInterpolator
    density: float
    tint: np.ndarray  # optical depth of blue, green and red tissue
    fin: float
    eye: float

    @staticmethod
    def draw(rng, kind):
        form = rng.choice(list(FORMS), p=[.45, .35, .2])
        stout = rng.uniform(.85, 1.2)
        density = rng.uniform(.09, .25) if form == 'slender' else rng.uniform(.12, .6)
        if kind == 'faint':
            density = rng.uniform(.06, .12)
        back, belly = (PchipInterpolator(STATIONS, np.array(h) * stout) for h in FORMS[form])
        return Style(
            back, belly, density,
            np.array([1.7, 1., .75]) if rng.random() < .6 else np.array([1.1, 1., .95]),
            density * rng.uniform(.12, .35),
            rng.uniform(.022, .034) * (1. if form == 'slender' else 1.25),
        )


class Sheet:
    """Optical depth and what is scattered back, channel by channel (blue, green, red), of all that lies in the dish."""

    def __init__(self, width, height):
        self.width, self.height = width, height
        self.depth = np.zeros((height, width, 3), np.float32)
        self.scatter = np.zeros((height, width, 3), np.float32)
        self.shadow = np.zeros((height, width), np.float32)

    def window(self, x0, y0, x1, y1):
        x0, y0 = max(0, int(x0)), max(0, int(y0))
        x1, y1 = min(self.width, int(x1) + 1), min(self.height, int(y1) + 1)
        yy, xx = np.mgrid[y0:max(y1, y0):1, x0:max(x1, x0):1]
        return (slice(y0, max(y1, y0)), slice(x0, max(x1, x0))), xx, yy

    def add_fry(self, rng, style, line, length):
        """One fish; returns whether its bladder holds gas, and from where it is seen."""
        margin = .2 * length + 6
        window, xx, yy = self.window(line.x.min() - margin, line.y.min() - margin, line.x.max() + margin, line.y.max() + margin)
        _, nearest = cKDTree(line.points).query(np.c_[xx.ravel(), yy.ravel()])
        nearest = nearest.reshape(xx.shape)
        dx, dy = xx - line.x[nearest], yy - line.y[nearest]
        cos, sin = np.cos(line.heading)[nearest], np.sin(line.heading)[nearest]
        s = nearest / (POINTS - 1)
        u = (dy * cos - dx * sin) / length * rng.choice([-1, 1])
        ahead = (dx * cos + dy * sin) / length
        beyond = ((nearest == 0) & (ahead < 0)) | ((nearest == POINTS - 1) & (ahead > 0))
        from_above = rng.random() < .2
        end = rng.uniform(.88, .93)
        back, belly = style.back(np.clip(s / end, 0, 1)), style.belly(np.clip(s / end, 0, 1))
        if from_above:
            back = belly = .45 * (back + belly)
        across = back + belly
        half = np.maximum(np.where(u > 0, back, belly), 1e-4)
        q = np.abs(u) / half
        in_body = (s < end) & ~beyond
        thick = np.where(in_body, np.sqrt(np.clip(1 - q * q, 0, 1)) * across / .1, 0)
        muscle = 1 + .12 * np.cos(2 * np.pi * (48 * s + 1.2 * q)) * (s > .25)
        body = style.density * np.clip(gaussian_filter(thick, .7), 0, 1.5) ** .8 * muscle
        body += bump(q - .96, .08) * in_body * style.density * rng.uniform(.1, .7)
        cord = bump(np.abs(u - .25 * back) - .14 * across, .03 * across + 1e-4) * in_body * (s > .12)
        body += cord * style.density * rng.uniform(0, .4)
        # A fan of rays behind, a fold along the body.
        fan, fold = rng.choice([.02, .035, .055]), rng.uniform(0, .03) * np.clip((s - .35) / .3, 0, 1)
        open_ = np.sqrt(np.clip((s - end + .05) / (1.05 - end), 0, 1)) * np.sqrt(np.clip((1 - s) / .015, 0, 1))
        reach = np.where(s > end - .05, np.maximum(fan * open_, fold), half + fold)
        fin = gaussian_filter(((np.abs(u) < reach) & ~beyond).astype(np.float32), .9)
        fins = style.fin * (fin + 4 * fin * (1 - fin) * rng.uniform(0, 1))
        tissue = body + fins
        depth = tissue[..., None] * style.tint
        # Gut, clear or full, and pigment spots in rows.
        gut = bump(u + .45 * belly, .35 * belly + 1e-3) * np.clip((s - .3) / .05, 0, 1)
        gut *= np.clip((rng.uniform(.55, .68) - s) / .08, 0, 1) * in_body
        filling = np.array([1.5, .9, .45]) * rng.uniform(.2, .6) if rng.random() < .4 else .6 * style.density
        depth += (gut * (1 + .7 * gaussian_filter(rng.normal(size=u.shape), 3)))[..., None] * filling
        for _ in range(rng.integers(0, 60)):
            at, size = rng.uniform(.1, .9), rng.uniform(.003, .012)
            row = rng.choice([-.9, -.5, .75, 0], p=[.35, .35, .2, .1])
            row *= (style.back if row > 0 else style.belly)(at)
            depth += (np.exp(-(((s - at) / size) ** 2 + ((u - row) / (.6 * size)) ** 2) ** .8) * rng.uniform(.2, .9))[..., None]
        place, opaque = rng.uniform(.05, .075), rng.uniform(.6, 2.2)
        rows = [-.75 * style.back(place), .75 * style.back(place)] if from_above else [.008]
        eye = np.max([step((1 - np.hypot((s - place) / style.eye, (u - row) / (style.eye * (.75 if from_above else 1.))))
                           * style.eye * length) for row in rows], axis=0)
        if rng.random() < .25:  # an oil globule
            away = (np.hypot(s - rng.uniform(.26, .33), u + .45 * style.belly(.3)) - rng.uniform(.018, .03)) * length
            depth += bump(away + 1.2, 1.4)[..., None] * np.array([.42, .35, .28])
            depth += step(-away)[..., None] * np.array([.5, .18, .05]) * rng.uniform(.3, 1)
        inflated = rng.random() < .6
        scatter = (tissue * rng.uniform(.8, 1.2))[..., None] * np.array([.9, 1., 1.])
        if inflated:
            long_, at = rng.uniform(.06, .14), rng.uniform(.33, .43)
            high = min(long_ * rng.uniform(.4, .62), 1.5 * style.back(at))
            row = 0 if from_above else .3 * style.back(at)
            away = (np.hypot((s - at) / long_, (u - row) / high) * 2 - 1) * high * length / 2
            wall = max(1., rng.uniform(.05, .17) * high * length)
            core, rim = step(-away - wall), bump(away + .5 * wall, .55 * wall)
            depth = depth * (1 - .75 * core[..., None]) + (rim * rng.uniform(.4, 1.6))[..., None]
            shine = bump(np.hypot((s - at + .15 * long_) / long_, (u - row - .1 * high) / high), .2)
            silver = core * rng.uniform(.15, .6) + shine * rng.uniform(.2, 1)
            scatter *= ((1 - .2 * core) * (1 - rng.uniform(.3, .8) * rim))[..., None]
            scatter += silver[..., None] * 3 * max(style.density, .1)
        depth += eye[..., None] * (opaque - .7 * depth)
        scatter *= 1 - .9 * eye[..., None]
        self.depth[window] += depth
        self.scatter[window] += scatter
        self.shadow[window] += tissue
        return inflated, 'top' if from_above else 'side'

    def add_debris(self, rng):
        for _ in range(rng.integers(5, 60)):
            x, y, a, b = rng.uniform(0, self.width), rng.uniform(0, self.height), rng.uniform(1, 9), rng.uniform(.5, 1.5)
            window, xx, yy = self.window(x - 25, y - 25, x + 25, y + 25)
            t = rng.uniform(0, np.pi)
            u, v = (xx - x) * np.cos(t) + (yy - y) * np.sin(t), (yy - y) * np.cos(t) - (xx - x) * np.sin(t)
            self.add(window, np.exp(-((u / a) ** 2 + (v / (a * b)) ** 2) ** rng.uniform(.7, 2)) * rng.uniform(.03, .9), .3)
        for _ in range(rng.integers(0, 5)):  # fibres
            line = Midline.draw(rng, rng.uniform(60, 500), abs(rng.normal(0, 120)))
            line = line.moved(rng.uniform(0, self.width), rng.uniform(0, self.height))
            drawn = np.zeros((self.height, self.width), np.uint8)
            cv2.polylines(drawn, [np.int32(line.points * 16)], False, 255, int(rng.integers(1, 4)), cv2.LINE_AA, 4)
            self.add(..., drawn / np.float32(255) * rng.uniform(.05, .6), .4)
        for _ in range(rng.integers(0, 6)):  # bubbles
            r, x, y = rng.uniform(4, 30), rng.uniform(0, self.width), rng.uniform(0, self.height)
            window, xx, yy = self.window(x - 1.4 * r, y - 1.4 * r, x + 1.4 * r, y + 1.4 * r)
            self.add(window, bump(np.hypot(xx - x, yy - y) - .88 * r, .12 * r + .6) * rng.uniform(.4, 2), .15)
            self.scatter[window] += .8 * bump(np.hypot(xx - x + .3 * r, yy - y + .3 * r), .12 * r + .5)[..., None]

    def add(self, window, depth, back):
        self.depth[window] += depth[..., None]
        self.scatter[window] += back * depth[..., None]

    def add_ring(self, x, y, radius, thick, depth):
        yy, xx = np.mgrid[0:self.height, 0:self.width]
        self.add(..., (bump(np.hypot(xx - x, yy - y) - radius, thick) * depth).astype(np.float32), .3)


class Bench:
    """A light pad that fills part of the frame, turned a little."""

    def __init__(self, rng, width, height):
        share = rng.uniform(.38, .8)
        self.half = .5 * share * np.array([width, height])
        self.centre = .5 * np.array([width, height]) + rng.uniform(-.5, .5, 2) * (1 - share) * np.array([width, height])
        self.turn = rng.uniform(-.15, .15)

    def outside(self, points):
        """How far beyond the pad's edge, pixels; negative on the pad."""
        sin, cos = np.sin(self.turn), np.cos(self.turn)
        return np.max(np.abs((points - self.centre) @ np.array([[cos, -sin], [sin, cos]])) - self.half, axis=-1)


def photograph(rng, kind):
    """One photograph, 8 bits of blue, green and red, and what is on it."""
    width, height = (2048, 1536) if kind == 'microscope' else (2600, 1950)
    sheet, style = Sheet(width, height), Style.draw(rng, kind)
    mean = min(rng.uniform(6, 16) * rng.uniform(20, 46), 620)
    allowed = lambda points: True
    bench, wells, radius = None, [], 0
    if kind == 'microscope':
        mean = rng.uniform(700, 1500)
    elif kind == 'bench':
        bench = Bench(rng, width, height)
        mean = min(mean, 420, .8 * bench.half.min())
        allowed = lambda points: (bench.outside(points) < -20).all()
    elif kind == 'wells':
        columns, rows = [(3, 2), (4, 3)][rng.integers(0, 2)]
        pitch = min(width / (columns + .05), height / (rows + .05))
        radius = .43 * pitch
        mean = min(mean, .9 * radius)
        wells = [(width / 2 + (i - (columns - 1) / 2) * pitch, height / 2 + (j - (rows - 1) / 2) * pitch)
                 for i in range(columns) for j in range(rows)]
        allowed = lambda points: any((np.hypot(*(points - c).T) < .93 * radius).all() for c in wells)
    apart = 0. if kind == 'crowd' else .22
    count = rng.integers(1, 4) if kind == 'microscope' else 30 if kind == 'crowd' else rng.integers(4, 16)
    usual_bend, placed, truth = rng.choice([10, 40, 90]), [], []
    for _ in range(count):
        length = mean * np.exp(rng.normal(0, .1))
        for _ in range(200):
            line = Midline.draw(rng, length, abs(rng.normal(0, usual_bend)))
            room = np.array([width, height]) - 2 * (.03 * length + 10) - np.ptp(line.points, axis=0)
            if (room <= 0).any():
                continue
            low = .03 * length + 10 - line.points.min(axis=0)
            line = line.moved(*(low + rng.uniform(0, 1, 2) * room))
            if allowed(line.points) and all(cKDTree(o).query(line.points)[0].min() > apart * length for o in placed):
                break
        else:
            continue
        placed.append(line.points)
        inflated, view = sheet.add_fry(rng, style, line, length)
        (sx, sy), (mx, my), (tx, ty) = line.points[[0, POINTS // 2, -1]].round(2)
        turn = np.degrees(np.ptp(line.heading)).round(1)
        truth.append(dict(snout_x=sx, snout_y=sy, middle_x=mx, middle_y=my, tail_x=tx, tail_y=ty,
                          total_length_px=round(length, 2), inflated=inflated, view=view, turn_deg=turn))
    sheet.add_debris(rng)
    if kind not in ('bench', 'wells', 'microscope') and rng.random() < .6:  # a dish
        at = width * rng.uniform(.4, .6), height * rng.uniform(.4, .6), width * rng.uniform(.55, .75)
        for further in (0, rng.uniform(10, 45)):
            sheet.add_ring(at[0], at[1], at[2] + further, rng.uniform(1, 5), rng.uniform(.1, .9))
    for x, y in wells:
        for further, depth in ((0, rng.uniform(.3, 1)), (rng.uniform(.03, .09), rng.uniform(.1, .8)), (.12, rng.uniform(.1, .5))):
            sheet.add_ring(x, y, radius * (1 + further), rng.uniform(1, 5), depth)
        if rng.random() < .5:
            letters = np.zeros((height, width), np.uint8)
            corner = int(x + .9 * radius), int(y + 1.08 * radius)
            text = 'ABCDEFGH'[rng.integers(0, 8)] + str(rng.integers(1, 7))
            cv2.putText(letters, text, corner, cv2.FONT_HERSHEY_SIMPLEX, radius / 300, 255, 2, cv2.LINE_AA)
            sheet.add(..., letters / np.float32(255) * rng.uniform(.1, .6), .3)
        for _ in range(rng.integers(0, 3)):  # eggs, some eyed
            r, (ex, ey) = radius * rng.uniform(.035, .06), np.array([x, y]) + rng.uniform(-.6, .6, 2) * radius
            sheet.add_ring(ex, ey, r, .08 * r + .7, .35)
            for side in (-1, 1) if rng.random() < .6 else ():
                sheet.add_ring(ex + .3 * side * r, ey - .2 * r, 0, .16 * r, .9)
    return develop(rng, light(rng, kind, sheet, style, bench)), truth


def light(rng, kind, sheet, style, bench):
    """What reaches the lens, linear."""
    width, height = sheet.width, sheet.height
    yy, xx = np.mgrid[0:height, 0:width]
    even = 1 + .07 * rng.uniform(0, 1) * np.clip(texture(rng, height, width, 2, 2), -2.5, 2.5)
    even *= 1 - 2 * rng.uniform(0, .35) * ((xx / width - .5) ** 2 + (yy / height - .5) ** 2)
    ground = even * (1 + rng.uniform(0, .012) * texture(rng, height, width, 40, 4, .8))
    cast = np.array([rng.uniform(.8, 1.05), .95, rng.uniform(.8, 1.05)])
    if kind in FROM_BELOW:
        level = rng.uniform(.45, .93)
        linear = (level * ground)[..., None] * cast * np.exp(-sheet.depth)
        if bench is not None:
            outside = bench.outside(np.stack([xx, yy], -1).reshape(-1, 2)).reshape(height, width)
            pad = gaussian_filter((outside < 0).astype(np.float32), rng.uniform(1, 5))[..., None]
            grain = 2 * gaussian_filter(rng.normal(size=(height, width)), (1, 60)) + .2 * texture(rng, height, width, 4, 4)
            wood = np.clip(level * rng.uniform(.005, .25) * (1 + grain), 0, 1)[..., None] * np.array([.5, .75, 1.])
            glow = (.12 * level * np.exp(-np.maximum(outside, 0) / 60))[..., None]
            linear = linear * pad + (wood + glow) * (1 - pad)
        return linear
    if kind == 'dark':
        lamp = rng.uniform(.5, 1) * rng.uniform(1.2, 3) * min(1, .25 / style.density)
        return ((rng.uniform(.02, .16) * ground)[..., None] + lamp * np.minimum(sheet.scatter, 1.4) * even[..., None]) * cast
    shadow = np.roll(np.minimum(sheet.shadow, 1), rng.integers(2, 9, 2), (0, 1))
    shadow = gaussian_filter(shadow, 4) * rng.uniform(0, .5)
    shade = 1.5 * sheet.depth + shadow[..., None]
    return (rng.uniform(.4, .85) * ground)[..., None] * cast * np.exp(-shade) + .05 * sheet.scatter


def develop(rng, linear):
    """Blur, noise, tone and what cameras do to edges."""
    blur = rng.choice([.6, 1., 1.6, 2.4])
    linear = np.clip(gaussian_filter(linear, (blur, blur, 0)), 0, None)
    gain = rng.choice([1., 6.7, 42.])
    electrons = 4000 / gain ** .7
    linear = rng.poisson(linear * electrons) / electrons + rng.normal(0, .002 * gain ** .4, linear.shape)
    stored = np.clip(linear, 0, 1) ** (1 / 2.2)
    if rng.random() < .5:
        stored = stored + rng.uniform(.3, 1) * (stored - gaussian_filter(stored, (1.2, 1.2, 0)))
    if rng.random() < .3:
        stored = cv2.bilateralFilter(np.clip(stored, 0, 1).astype(np.float32), 5, .03, 3)
    if rng.random() < .3:
        stored = .5 * stored + .5 * stored * stored * (3 - 2 * stored)
    return np.uint8(np.clip(stored, 0, 1) * 255 + .5)


def main():
    parser = argparse.ArgumentParser(description='Draws photographs of fry with known truth.')
    parser.add_argument('folder')
    parser.add_argument('--seed', type=int, default=1)
    parser.add_argument('--count', type=int, default=12, help='photographs of each kind')
    parser.add_argument('--kinds', nargs='+', choices=KINDS, default=KINDS)
    options = parser.parse_args()
    os.makedirs(options.folder, exist_ok=True)
    rows = []
    for kind in options.kinds:
        for n in range(options.count):
            rng = np.random.default_rng([options.seed, n, KINDS.index(kind)])
            picture, truth = photograph(rng, kind)
            name = f'{kind}-{options.seed}-{n:02d}.jpg'
            quality = int(rng.choice([65, 80, 92]))
            cv2.imwrite(os.path.join(options.folder, name), picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
            rows += [dict(photo=name, kind=kind, **row) for row in truth]
    with open(os.path.join(options.folder, 'truth.csv'), 'w', newline='') as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)


if __name__ == '__main__':
    main()
