"""Chessboard corners, planes and lens of OpenCV, for tests/scale_reference.rs.

Photographs and intrinsics are those of Debian's package opencv-doc (examples/data/left*.jpg and
left_intrinsics.yml, squares of 25 mm). Corners: findChessboardCorners and cornerSubPix. Plane: findHomography
by least squares. Lens: undistortPoints with the published intrinsics.

Needs python3 with cv2 and numpy; writes chessboard.csv and chessboard_planes.csv beside itself.
"""

import csv
import pathlib

import cv2
import numpy as np

DATA = pathlib.Path("/usr/share/doc/opencv-doc/examples/data")
HERE = pathlib.Path(__file__).parent
SQUARE_MM = 25.0
PATTERN = (9, 6)

published = cv2.FileStorage(str(DATA / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
camera = published.getNode("camera_matrix").mat()
lens = published.getNode("distortion_coefficients").mat()
board = np.array([[SQUARE_MM * (i % 9), SQUARE_MM * (i // 9)] for i in range(54)])

corner_rows, plane_rows = [], []
for name in ["left01.jpg", "left02.jpg", "left03.jpg", "left05.jpg", "left06.jpg", "left08.jpg"]:
    grey = cv2.imread(str(DATA / name), cv2.IMREAD_GRAYSCALE)
    found, corners = cv2.findChessboardCorners(grey, PATTERN)
    assert found, name
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 0.001)
    corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), stop).reshape(-1, 2)
    straight = cv2.undistortPoints(corners.reshape(-1, 1, 2), camera, lens, P=camera).reshape(-1, 2)
    for (mm, px, free) in zip(board, corners, straight):
        corner_rows.append([name, *mm, *(f"{v:.4f}" for v in [*px, *free])])
    height, width = grey.shape
    for kind, points in [("as_taken", corners), ("lens_removed", straight)]:
        plane, _ = cv2.findHomography(board, points.astype(np.float64), 0)
        back = cv2.perspectiveTransform(board.reshape(-1, 1, 2), plane).reshape(-1, 2)
        rms = float(np.sqrt(np.mean(np.sum((back - points) ** 2, axis=1))))
        plane_rows.append([name, kind, width, height, f"{rms:.5f}", *(f"{v:.10g}" for v in plane.ravel())])

with open(HERE / "chessboard.csv", "w", newline="") as f:
    out = csv.writer(f, lineterminator="\n")
    out.writerow("photo x_mm y_mm x_px y_px x_straight_px y_straight_px".split())
    out.writerows(corner_rows)
with open(HERE / "chessboard_planes.csv", "w", newline="") as f:
    out = csv.writer(f, lineterminator="\n")
    out.writerow("photo points width height rms_px h11 h12 h13 h21 h22 h23 h31 h32 h33".split())
    out.writerows(plane_rows)
print("OpenCV", cv2.__version__)
