"""A camera calibrated by OpenCV, for tests/scale_reference.rs.

Photographs: Debian's package opencv-doc (examples/data/left*.jpg). Corners: findChessboardCorners and
cornerSubPix. Camera: calibrateCameraExtended, the third radial term held at zero as ours is; its own
standard deviations. The lens published with the photographs (left_intrinsics.yml, five terms) is read from
the package, and what undistortPoints makes of a grid of points with it is stored.

Needs python3 with cv2 and numpy; writes lens_corners.csv, lens_camera.csv and lens_points.csv beside itself.
"""

import csv
import pathlib

import cv2
import numpy as np

DATA = pathlib.Path("/usr/share/doc/opencv-doc/examples/data")
HERE = pathlib.Path(__file__).parent
board = np.zeros((54, 3), np.float32)
board[:, :2] = np.mgrid[0:9, 0:6].T.reshape(-1, 2)

names, seen = [], []
for path in sorted(DATA.glob("left[0-9][0-9].jpg")):
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    found, corners = cv2.findChessboardCorners(grey, (9, 6))
    assert found, path.name
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 0.001)
    seen.append(cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), stop))
    names.append(path.name)

size = grey.shape[::-1]
rms, camera, lens, _, _, sd, _, per_view = cv2.calibrateCameraExtended(
    [board] * len(seen), seen, size, None, None, flags=cv2.CALIB_FIX_K3)
values = [camera[0, 0], camera[1, 1], camera[0, 2], camera[1, 2], *lens.ravel()[:4]]

def write(name, header, rows):
    with open(HERE / name, "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(header.split())
        out.writerows(rows)

write("lens_corners.csv", "photo x_px y_px",
      [[n, *(f"{v:.4f}" for v in p)] for n, c in zip(names, seen) for p in c.reshape(-1, 2)])
write("lens_camera.csv", "name value sd",
      [["rms", f"{rms:.6f}", ""]] + [[n, f"{v:.9g}", f"{s:.4g}"] for n, v, s in
                                     zip("fx fy cx cy k1 k2 p1 p2".split(), values, sd.ravel())])
published = cv2.FileStorage(str(DATA / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
k, d = published.getNode("camera_matrix").mat(), published.getNode("distortion_coefficients").mat()
grid = np.array([[x, y] for y in range(0, 480, 53) for x in range(0, 640, 71)], float)
stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-12)
straight = cv2.undistortPoints(grid.reshape(-1, 1, 2), k, d, R=None, P=k, criteria=stop).reshape(-1, 2)
write("lens_points.csv", "x_px y_px x_straight_px y_straight_px",
      [[*p, *(f"{v:.6f}" for v in q)] for p, q in zip(grid, straight)])
print("OpenCV", cv2.__version__, "rms", rms, dict(zip(names, np.round(per_view.ravel(), 3))))
