"""Writes regions.json: regions of pictures that come with scikit-image, by scikit-image, SciPy and OpenCV.

Run once by hand (pip install scikit-image scipy opencv-python-headless, at the version of requirements.txt);
tests/open_pictures.rs reads the same pictures from that package and compares. `coins` shows 24 Greek coins, `page` a
printed page, both photographed or scanned in uneven light; the limits are Otsu's (threshold_otsu), rounded.

`coin_places` follows scikit-image's tutorial on region-based segmentation: watershed of Sobel's gradient from markers at
grey levels 30 and 150, holes filled, small pieces dropped.
"""

import json
import pathlib

import cv2
import numpy as np
import scipy
import skimage
from scipy import ndimage
from skimage import data
from skimage.filters import sobel, threshold_otsu
from skimage.measure import label, regionprops
from skimage.segmentation import watershed

LARGEST = 30


def regions(mask):
    props = regionprops(label(mask, connectivity=2))
    largest = sorted(props, key=lambda p: -p.area)[:LARGEST]
    filled = ndimage.binary_fill_holes(mask)

    def hu(p):
        moments = cv2.moments(p.image.astype(np.uint8), binaryImage=True)
        return cv2.HuMoments(moments).ravel()[:2].tolist()

    return {
        "pixels": int(mask.sum()),
        "components": len(props),
        "components_opencv": int(cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)[0]) - 1,
        "areas": sorted((int(p.area) for p in props), reverse=True),
        "pixels_filled": int(filled.sum()),
        "components_filled": int(label(filled, connectivity=2).max()),
        # The order of regions of one size is anybody's: they are compared by area and axes together.
        "largest": [
            {"area": int(p.area), "axes": [p.axis_major_length, p.axis_minor_length], "hu": hu(p)} for p in largest
        ],
    }


def coin_places(picture):
    markers = np.zeros(picture.shape, int)
    markers[picture < 30] = 1
    markers[picture > 150] = 2
    coins = ndimage.binary_fill_holes(watershed(sobel(picture), markers) - 1)
    return [
        {"x": p.centroid[1], "y": p.centroid[0], "area": int(p.area)}
        for p in regionprops(label(coins))
        if p.area > 100
    ]


values = {"versions": {"scikit-image": skimage.__version__, "scipy": scipy.__version__, "opencv": cv2.__version__}}
for name, brighter in [("coins", True), ("page", False)]:
    picture = getattr(data, name)()
    limit = int(round(threshold_otsu(picture)))
    mask = picture >= limit if brighter else picture < limit
    values[name] = {"limit": limit, "brighter": brighter, **regions(mask)}
values["coin_places"] = coin_places(data.coins())
pathlib.Path(__file__).with_name("regions.json").write_text(json.dumps(values, indent=1) + "\n")
