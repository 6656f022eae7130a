"""Writes values.json: what scikit-image, OpenCV and SciPy find in shapes drawn by formula.

Run once by hand (pip install scikit-image opencv-python-headless scipy); tests/shapes.rs draws the same shapes
from the same formulas and compares. A pixel belongs to a shape when its centre does.
"""

import json
import math
import pathlib

import cv2
import numpy as np
import scipy.ndimage
import skimage
from skimage.graph import MCP_Geometric
from skimage.measure import label, regionprops
from skimage.morphology import skeletonize

Y, X = np.mgrid[0:200, 0:240].astype(float)


def circle(x, y, r):
    return (X - x) ** 2 + (Y - y) ** 2 <= r * r


def ellipse(x, y, a, b, turn):
    u = (X - x) * math.cos(turn) + (Y - y) * math.sin(turn)
    v = -(X - x) * math.sin(turn) + (Y - y) * math.cos(turn)
    return (u / a) ** 2 + (v / b) ** 2 <= 1


def arc(x, y, r, half, start, end):
    turn = np.arctan2(Y - y, X - x)
    return (np.abs(np.hypot(X - x, Y - y) - r) <= half) & (turn >= start) & (turn <= end)


def spiral(x, y, start, pitch, half, turns):
    """Archimedean ribbon: pixels within `half` of a point of r = start + pitch t / 2 pi."""
    t = np.linspace(0, 2 * math.pi * turns, 4000)
    r = start + pitch * t / (2 * math.pi)
    return near(x + r * np.cos(t), y + r * np.sin(t), half)


def sine(x0, x1, y, height, wave, half):
    px = np.linspace(x0, x1, 4000)
    return near(px, y + height * np.sin(2 * math.pi * (px - x0) / wave), half)


def near(px, py, half):
    mask = np.zeros(X.shape, bool)
    for x, y in zip(px, py):
        x0, x1, y0, y1 = int(x - half), int(x + half) + 2, int(y - half), int(y + half) + 2
        sub = (X[y0:y1, x0:x1] - x) ** 2 + (Y[y0:y1, x0:x1] - y) ** 2 <= half * half
        mask[y0:y1, x0:x1] |= sub
    return mask


def longest_way(skeleton):
    """Longest of the shortest ways within a skeleton, diagonal steps as sqrt 2."""
    costs = np.where(skeleton, 1.0, np.inf)
    first = tuple(np.argwhere(skeleton)[0])
    for _ in range(2):
        total, _ = MCP_Geometric(costs).find_costs([first])
        total[~skeleton] = -1
        first = np.unravel_index(np.argmax(total), total.shape)
    return float(total.max())


SHAPES = {
    "circle": circle(100.2, 90.7, 30.4),
    "ellipse": ellipse(120.0, 100.0, 80.0, 22.5, 0.5),
    "arc": arc(120.0, 60.0, 80.0, 7.0, 0.3, 2.6),
    "spiral": spiral(120.0, 100.0, 30.0, 28.0, 5.0, 1.6),
    "sine": sine(30.0, 210.0, 100.0, 35.0, 120.0, 6.0),
}

values = {"versions": {"scikit-image": skimage.__version__, "opencv": cv2.__version__, "scipy": scipy.__version__}}
for name, mask in SHAPES.items():
    (p,) = regionprops(label(mask))
    bytes_ = mask.astype(np.uint8)
    values[name] = {
        "area": int(p.area),
        "major": p.axis_major_length,
        "minor": p.axis_minor_length,
        "deepest_scipy": float(scipy.ndimage.distance_transform_edt(np.pad(mask, 1)).max()),
        "deepest_opencv": float(cv2.distanceTransform(np.pad(bytes_, 1), cv2.DIST_L2, cv2.DIST_MASK_PRECISE).max()),
        "skeleton_way": longest_way(skeletonize(mask)),
        "holes": 1 - int(p.euler_number),
        "components_opencv": int(cv2.connectedComponents(bytes_, connectivity=8)[0]) - 1,
    }
blobs = (np.sin(X * 0.31) * np.cos(Y * 0.23) + 0.4 * np.sin(0.05 * X * Y / 40)) > 0.55
values["blobs"] = {
    "pixels": int(blobs.sum()),
    "components_opencv": int(cv2.connectedComponents(blobs.astype(np.uint8), connectivity=8)[0]) - 1,
    "components_skimage": int(label(blobs, connectivity=2).max()),
}
points = [(100 + 60 * math.cos(t) * math.cos(0.7) - 25 * math.sin(t) * math.sin(0.7),
           90 + 60 * math.cos(t) * math.sin(0.7) + 25 * math.sin(t) * math.cos(0.7)) for t in np.linspace(0.2, 4.4, 60)]
(cx, cy), (d1, d2), _ = cv2.fitEllipseDirect(np.array(points, np.float32))
values["ellipse_fit_opencv"] = {"x": cx, "y": cy, "a": max(d1, d2) / 2, "b": min(d1, d2) / 2}
pathlib.Path(__file__).with_name("values.json").write_text(json.dumps(values, indent=1) + "\n")
