"""Drawings in place of photographs: the board with its tag, and the display in the same picture."""

import io
from datetime import datetime

from PIL import ExifTags, Image, ImageDraw, ImageFont

from assessments.photos import CleanPhoto, clean

SIZE = (960, 720)
WALL, BOARD, EDGE = "#c9cfcb", "#e9e4d6", "#4b4a44"
METAL, DARK, HIGH, LOW, LABEL = "#b4bcc4", "#22282e", "#a8402f", "#2c5d8f", "#ffffff"


def venturi_board(*, tag: str, caption: str, taken_at: datetime | None = None) -> CleanPhoto:
    """The board from the front: fan, venturi, two tubes, switch."""
    image, draw = _board(tag, caption)
    draw.ellipse((120, 250, 300, 430), fill=METAL, outline=DARK, width=5)
    for height in range(-60, 61, 30):
        half = (80**2 - height**2) ** 0.5
        draw.line((210 - half, 340 + height, 210 + half, 340 + height), fill=DARK, width=4)
    duct = [(300, 280), (430, 280), (520, 315), (600, 315), (770, 280), (830, 280)]
    draw.polygon([*duct, *((x, 680 - y) for x, y in reversed(duct))], fill=METAL, outline=DARK, width=5)
    _tube(draw, [(400, 280), (400, 200), (875, 200), (875, 525), (800, 525)], HIGH)
    _tube(draw, [(560, 365), (560, 525), (620, 525)], LOW)
    draw.rounded_rectangle((620, 470, 800, 580), radius=12, fill=DARK)
    draw.text((636, 505), "L", font=_font(34), fill=LABEL)
    draw.text((762, 505), "H", font=_font(34), fill=LABEL)
    return _photo(image, taken_at=taken_at)


def isolation_board(*, tag: str, caption: str, taken_at: datetime | None = None) -> CleanPhoto:
    """The isolator with its lock and the caution tag."""
    image, draw = _board(tag, caption)
    draw.rounded_rectangle((170, 200, 420, 540), radius=14, fill=METAL, outline=DARK, width=5)
    draw.rectangle((270, 260, 320, 400), fill=HIGH, outline=DARK, width=4)
    draw.arc((262, 390, 328, 470), 180, 360, fill=DARK, width=12)
    draw.rounded_rectangle((248, 428, 342, 510), radius=10, fill="#c79a2b", outline=DARK, width=4)
    draw.polygon(
        [(470, 330), (720, 330), (720, 470), (470, 470), (430, 400)], fill="#d9b23c", outline=DARK, width=4
    )
    draw.text((480, 372), "DO NOT SWITCH ON", font=_font(24), fill=DARK)
    return _photo(image, taken_at=taken_at)


def _board(tag: str, caption: str) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", SIZE, WALL)
    draw = ImageDraw.Draw(image)
    draw.rounded_rectangle((40, 40, 920, 680), radius=18, fill=BOARD, outline=EDGE, width=6)
    draw.rectangle((70, 70, 290, 150), fill=LABEL, outline=EDGE, width=4)
    draw.text((88, 80), tag, font=_font(56), fill=DARK)
    draw.rectangle((70, 600, 890, 660), fill=DARK)
    draw.text((90, 610), caption, font=_font(32), fill="#cfe8c9")
    return image, draw


def _tube(draw: ImageDraw.ImageDraw, points: list[tuple[int, int]], colour: str) -> None:
    draw.line(points, fill=colour, width=14, joint="curve")


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size=size)


def _photo(image: Image.Image, *, taken_at: datetime | None) -> CleanPhoto:
    out, details = io.BytesIO(), Image.Exif()
    if taken_at is not None:
        inside = details.get_ifd(ExifTags.IFD.Exif)
        inside[ExifTags.Base.DateTimeOriginal] = f"{taken_at:%Y:%m:%d %H:%M:%S}"
    image.save(out, "PNG", compress_level=1, exif=details.tobytes())
    return clean(out.getvalue())
