"""Drawn rulers of known scale, for tests/scale_reference.rs: nothing of frygauge takes part.

Pillow draws each ruler four times too large with its figures, turns it, and shrinks it. The file name says
what is in it: graduation, pixels to a millimetre, degrees of turn. Writes JPEG beside itself.
"""

import pathlib

from PIL import Image, ImageDraw, ImageFont

HERE = pathlib.Path(__file__).parent
OVER = 4


def ruler(name, px_per_mm, turn, pitch_mm, ranks, ticks, figure_every, ink, body, bench, white_lines=False):
    """ranks: (every so many ticks, length in mm), from rare to common."""
    s = px_per_mm * OVER
    long_mm = (ticks - 1) * pitch_mm
    width, height = int((long_mm + 12) * s), int(20 * s)
    plate = Image.new("L", (width, height), body)
    draw = ImageDraw.Draw(plate)
    font = ImageFont.load_default(size=int(2.6 * s))
    half = 0.09 * s
    for i in range(ticks):
        length = next(mm for every, mm in ranks if i % every == 0)
        x = (6 + i * pitch_mm) * s
        draw.rectangle([x - half, 0.6 * s, x + half, (0.6 + length) * s], fill=ink)
        if i % figure_every == 0:
            draw.text((x, 11 * s), str(i // figure_every), fill=ink, font=font, anchor="mm")
    frame = Image.new("L", (1200 * OVER, 900 * OVER), bench)
    # Offset by no whole pixel, so that ticks fall anywhere on the grid.
    frame.paste(plate, ((frame.width - width) // 2 + 5, (frame.height - height) // 2 - 7))
    frame = frame.rotate(turn, resample=Image.Resampling.BICUBIC, fillcolor=bench)
    frame = frame.resize((1200, 900), Image.Resampling.BOX)
    frame.save(HERE / f"{name}-{px_per_mm}-px-{turn}-deg.jpg", quality=88)


ruler("millimetres", 13.7, 31, 1.0, [(10, 6.5), (5, 5.0), (1, 3.5)], 71, 10, 40, 225, 120)
ruler("steel-millimetres", 17.3, -64, 1.0, [(10, 6.0), (5, 4.5), (1, 3.0)], 46, 10, 70, 160, 215)
ruler("half-millimetres", 21.0, 12, 0.5, [(20, 7.0), (10, 5.5), (2, 4.0), (1, 2.5)], 81, 20, 30, 235, 90)
ruler("sixteenth-inches", 14.4, -22, 25.4 / 16, [(16, 8.0), (8, 6.5), (4, 5.0), (2, 3.8), (1, 2.6)], 44, 16, 35, 230, 140)
# A close-up: its ticks stand farther apart than those of a whole dish ever do.
ruler("close-up-millimetres", 43.0, 7, 1.0, [(10, 6.5), (5, 5.0), (1, 3.5)], 23, 10, 40, 225, 120)
