"""Writes cutouts.json: geodesic lengths of the alpha masks of photographic animal cut-outs.

Run once by hand, with the Debian package tuxpaint-stamps-default installed (pictures GPL-2; they are read from where
the package puts them, never copied) and `pip install scikit-image scikit-fmm`. tests/open_pictures.rs lays the same cut-outs
on a rendered light pad and holds the reader's lengths against these.

A cut-out is drawn out along its columns by the factors given, so that some are as slender as fry. Its length is the
geodesic diameter of the largest piece of its mask (alpha from one half): the longest of all shortest ways within the
mask, by fast marching (scikit-fmm), found by going to the farthest pixel three times. Unit: rows of the cut-out.
"""

import json
import pathlib

import numpy as np
import skfmm
import skimage
from skimage.io import imread
from skimage.measure import label, regionprops
from skimage.transform import resize

STAMPS = pathlib.Path("/usr/share/tuxpaint/stamps/animals")
# Elongated animals from the side, without limbs that stand off.
CHOSEN = [
    "fish/bluegroper",
    "fish/coraltrout",
    "fish/dolphinfish",
    "fish/moonwrasse",
    "fish/stripedfish",
    "insects/Brown_slug",
]
STRETCHES = [1.5, 2.2, 3.0]
# Mask pixels to a row of the cut-out: way along a mask's pixelled edge is then known to a fraction of a row.
FINE = 3


def geodesic(mask):
    """Geodesic diameter of a mask in its pixels, outer edge to outer edge."""
    at = tuple(np.argwhere(mask)[0])
    longest = 0.0
    for _ in range(3):
        front = np.ones(mask.shape)
        front[at] = -1.0
        way = skfmm.travel_time(np.ma.MaskedArray(front, ~mask), np.ones(mask.shape))
        way = np.where(np.ma.getmaskarray(way), -1.0, np.ma.getdata(way))
        at = np.unravel_index(np.argmax(way), way.shape)
        longest = max(longest, float(way.max()))
    # The front starts half a pixel from the middle of the first pixel; both end pixels count whole.
    return longest + 1.5


values = {"versions": {"scikit-image": skimage.__version__, "scikit-fmm": skfmm.__version__}}
for name in CHOSEN:
    alpha = imread(STAMPS / f"{name}.png")[..., 3] / 255.0
    rows, columns = alpha.shape
    values[name] = []
    for stretch in STRETCHES:
        fine = resize(alpha, (rows * FINE, round(columns * FINE * stretch)), order=1)
        pieces = label(fine >= 0.5)
        piece = max(regionprops(pieces), key=lambda p: p.area)
        mask = np.pad(pieces == piece.label, 2)
        values[name].append({
            "stretch": stretch,
            "length": geodesic(mask) / FINE,
            "axes": [piece.axis_major_length / FINE, piece.axis_minor_length / FINE],
        })
        print(name, values[name][-1])
pathlib.Path(__file__).with_name("cutouts.json").write_text(json.dumps(values, indent=1) + "\n")
