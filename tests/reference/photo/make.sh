#!/usr/bin/env bash
# Makes the pictures in this folder: a drawn scene (ImageMagick), coded and decoded by libjpeg-turbo
# (cjpeg, djpeg), tagged by exiftool. Debian: imagemagick libjpeg-turbo-progs libimage-exiftool-perl.
set -euo pipefail
cd "$(dirname "$0")"
convert -depth 8 -size 97x75 gradient:'#e8f0ff'-'#b8b090' -fill '#806030' -draw 'ellipse 50,35 30,6 0,360' \
  -fill '#201810' -draw 'circle 28,34 31,34' -fill '#a04020' -draw 'rectangle 60,50 80,70' scene.ppm
cjpeg -quality 92 -sample 2x2 scene.ppm > colour_420.jpg
cjpeg -quality 92 -sample 1x1 -progressive scene.ppm > colour_444_progressive.jpg
cjpeg -quality 92 -sample 2x1 -restart 1 scene.ppm > colour_422_restart.jpg
cjpeg -quality 92 -grayscale scene.ppm > grey.jpg
for f in colour_420 colour_444_progressive colour_422_restart grey; do djpeg -grayscale -pnm "$f.jpg" > "$f.y.pgm"; done
djpeg -pnm colour_444_progressive.jpg > colour_444_progressive.rgb.ppm
convert scene.ppm -colorspace CMYK refused_cmyk.jpg
convert scene.ppm -depth 16 -type TrueColor rgb16.tif
convert scene.ppm -depth 8 -alpha set rgba8.tif
convert scene.ppm -colorspace Gray -depth 16 grey16.tif
convert scene.ppm -define webp:lossless=true lossless.webp
cp colour_420.jpg tagged_turned_right.jpg
exiftool -q -overwrite_original -n -Orientation=6 -DateTimeOriginal='2026:05:02 09:14:07' -Make=Invented \
  -Model='Bench 1' -XResolution=300 -YResolution=200 -ResolutionUnit=2 tagged_turned_right.jpg
rm -f scene.ppm.*
