"""Drawn stand-ins for the demo's photos: invented cars and parts, made when the demo is played, none taken of anything.

`draw("van front check_in", taken_at)` answers a JPEG as a camera would send it, with the time in its data. The same
words give the same bytes, so that a demo that was cut short goes on where it stopped.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from datetime import datetime

from PIL import ExifTags, Image, ImageDraw, ImageFont

from vehicles.models.photo import Angle, Occasion

SIZE = (960, 720)
INK, PAPER = (20, 35, 43), (247, 245, 239)
CREAM, GREY, GLASS, RUBBER, STEEL = (
    (226, 217, 192),
    (134, 140, 140),
    (70, 92, 104),
    (34, 36, 38),
    (168, 173, 176),
)
GREEN, RUST, WALL, FLOOR = (62, 96, 70), (138, 84, 52), (196, 198, 192), (150, 148, 140)
Draw = ImageDraw.ImageDraw


def draw(words: str, taken_at: datetime) -> bytes:
    """The picture that these words name: `subject detail …`. Raises `KeyError` for a subject that nobody drew."""
    subject, _, detail = words.partition(" ")
    image = Image.new("RGB", SIZE, WALL)
    pen = ImageDraw.Draw(image)
    label = SUBJECTS[subject](pen, detail)
    pen.rectangle((0, 668, 960, 720), fill=INK)
    pen.text((24, 678), label, font=_font(26), fill=PAPER)
    pen.text((936, 684), "drawn for the demo", font=_font(18), fill=STEEL, anchor="ra")
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken_at.strftime("%Y:%m:%d %H:%M:%S")
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80, exif=exif)
    return out.getvalue()


def _font(size: int):
    return ImageFont.load_default(size)


def _ground(pen: Draw, light: int = 0) -> None:
    pen.rectangle((0, 0, 960, 470), fill=tuple(min(255, part + light) for part in WALL))
    pen.rectangle((0, 470, 960, 720), fill=tuple(min(255, part + light) for part in FLOOR))


def _wheel(pen: Draw, x: float, y: float, radius: float = 78) -> None:
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=RUBBER)
    inner = radius * 0.58
    pen.ellipse((x - inner, y - inner, x + inner, y + inner), fill=STEEL)
    for turn in range(5):
        angle = math.radians(72 * turn - 90)
        cx, cy = x + radius * 0.3 * math.cos(angle), y + radius * 0.3 * math.sin(angle)
        pen.ellipse((cx - 6, cy - 6, cx + 6, cy + 6), fill=INK)


def _scrape(pen: Draw, x: float, y: float, length: float) -> None:
    """The scrape that the van came with, along its left rear corner."""
    for row in range(4):
        pen.line((x + 4 * row, y + 7 * row, x + length - 6 * row, y + 7 * row + 3), fill=PAPER, width=3)


def _side(pen: Draw, left: bool) -> None:
    """The side of a high-roof van; the left side shows its front on the left."""

    def at(x: float) -> float:
        return x if left else 960 - x

    def box(x1, y1, x2, y2, fill, radius=10):
        low, high = sorted((at(x1), at(x2)))
        pen.rounded_rectangle((low, y1, high, y2), radius, fill=fill)

    pen.polygon([(at(x), y) for x, y in ((78, 540), (70, 400), (190, 330), (262, 150), (300, 120), (880, 120), (896, 160), (896, 540))], fill=CREAM)  # fmt: skip
    box(72, 430, 896, 545, GREY)
    pen.polygon([(at(x), y) for x, y in ((215, 330), (276, 180), (360, 180), (360, 330))], fill=GLASS)
    box(470, 200, 640, 320, GLASS)
    box(700, 200, 840, 320, GLASS)
    for x in (376, 660):
        pen.line((at(x), 150, at(x), 535), fill=INK, width=3)
    box(390, 375, 440, 390, INK, 5)
    _wheel(pen, at(220), 545)
    _wheel(pen, at(740), 545)
    if left:
        _scrape(pen, at(836), 448, 56)


def _end(pen: Draw, front: bool, x1: float = 270, x2: float = 690) -> None:
    """The front or the rear of the van."""
    pen.rounded_rectangle((x1, 110, x2, 560), 36, fill=CREAM)
    pen.rectangle((x1, 430, x2, 545), fill=GREY)
    middle = (x1 + x2) / 2
    if front:
        pen.rounded_rectangle((x1 + 36, 180, x2 - 36, 320), 20, fill=GLASS)
        pen.rounded_rectangle((middle - 90, 370, middle + 90, 420), 8, fill=INK)
        for x in (x1 + 16, x2 - 86):
            pen.rounded_rectangle((x, 360, x + 70, 420), 12, fill=PAPER)
    else:
        for x in (x1 + 30, middle + 12):
            pen.rounded_rectangle((x, 170, x + (x2 - x1) / 2 - 42, 310), 14, fill=GLASS)
        pen.line((middle, 120, middle, 540), fill=INK, width=4)
        for x in (x1 + 8, x2 - 34):
            pen.rectangle((x, 340, x + 26, 425), fill=RUST)
        pen.rectangle((middle - 12, 548, middle + 12, 590), fill=INK)
        pen.ellipse((middle - 18, 572, middle + 18, 608), fill=STEEL)
        _scrape(pen, x1 + 4, 452, 60)
    pen.rounded_rectangle((middle - 74, 470, middle + 74, 506), 4, fill=PAPER)
    pen.text((middle, 488), "TAR H 88", font=_font(26), fill=INK, anchor="mm")
    for x in (x1 + 26, x2 - 86):
        pen.rounded_rectangle((x, 545, x + 60, 630), 10, fill=RUBBER)


def _corner(pen: Draw, front: bool, left: bool) -> None:
    """Two faces: the end, and the side running away from it."""
    mirrored = left == front  # whether the side runs off to the right

    def at(x: float) -> float:
        return x if mirrored else 960 - x

    pen.polygon([(at(420), 118), (at(880), 168), (at(880), 520), (at(420), 560)], fill=CREAM)
    pen.polygon([(at(420), 430), (at(880), 405), (at(880), 518), (at(420), 548)], fill=GREY)
    for a, b in ((470, 600), (660, 840)):
        pen.polygon([(at(a), 205), (at(b), 215), (at(b), 318), (at(a), 325)], fill=GLASS)
    _wheel(pen, at(560), 548, 64)
    _wheel(pen, at(800), 522, 52)
    low, high = sorted((at(110), at(420)))
    _end(pen, front, low, high)
    if left and not front:
        _scrape(pen, min(at(424), at(500)), 452, 76)


def _cabin(pen: Draw, rear: bool) -> None:
    pen.rectangle((0, 0, 960, 720), fill=(88, 84, 78))
    if rear:
        pen.rectangle((120, 90, 840, 560), fill=(190, 172, 140))
        pen.rectangle((120, 330, 430, 560), fill=(156, 118, 78))
        pen.rounded_rectangle((470, 400, 840, 520), 24, fill=(96, 116, 128))
        pen.rectangle((150, 360, 400, 430), fill=(176, 138, 96))
        return
    for x in (150, 560):
        pen.rounded_rectangle((x, 190, x + 250, 480), 36, fill=(96, 116, 128))
        pen.rounded_rectangle((x + 60, 110, x + 190, 190), 24, fill=(112, 130, 140))
        pen.rounded_rectangle((x - 10, 460, x + 260, 590), 30, fill=(82, 100, 112))
    pen.ellipse((540, 570, 830, 640), outline=STEEL, width=10)


def _dashboard(pen: Draw, figure: str) -> None:
    pen.rectangle((0, 0, 960, 720), fill=(44, 48, 50))
    for x in (120, 600):
        pen.ellipse((x, 130, x + 260, 390), fill=(24, 26, 28), outline=STEEL, width=8)
        for step in range(9):
            angle = math.radians(150 + step * 30)
            cx, cy = x + 130, 260
            pen.line((cx + 96 * math.cos(angle), cy + 96 * math.sin(angle), cx + 116 * math.cos(angle), cy + 116 * math.sin(angle)), fill=PAPER, width=5)  # fmt: skip
        pen.line((x + 130, 260, x + 60, 310), fill=(214, 120, 70), width=7)
    pen.rounded_rectangle((390, 200, 590, 280), 8, fill=(206, 214, 188))
    pen.text((490, 240), figure, font=_font(44), fill=INK, anchor="mm")
    pen.arc((180, 380, 780, 980), 200, 340, fill=(20, 20, 22), width=44)


def _engine(pen: Draw) -> None:
    pen.rectangle((0, 0, 960, 720), fill=(70, 74, 76))
    pen.rounded_rectangle((250, 160, 700, 430), 20, fill=(120, 124, 124))
    for x in range(290, 680, 100):
        pen.rounded_rectangle((x, 190, x + 60, 400), 10, fill=(60, 62, 64))
    pen.rounded_rectangle((730, 180, 890, 330), 8, fill=INK)
    pen.rectangle((760, 160, 780, 182), fill=RUST)
    pen.rounded_rectangle((60, 220, 210, 420), 30, fill=PAPER)
    pen.line((120, 450, 400, 560, 720, 520), fill=RUBBER, width=26)


def _van(pen: Draw, detail: str) -> str:
    name, _, when = detail.partition(" ")
    angle, occasion = Angle(name), Occasion(when)
    _ground(pen, 0 if occasion == Occasion.CHECK_IN else 16)
    if angle in (Angle.LEFT, Angle.RIGHT):
        _side(pen, angle == Angle.LEFT)
    elif angle in (Angle.FRONT, Angle.REAR):
        _end(pen, angle == Angle.FRONT)
    elif angle in (Angle.FRONT_LEFT, Angle.FRONT_RIGHT, Angle.REAR_LEFT, Angle.REAR_RIGHT):
        _corner(pen, name.startswith("front"), name.endswith("left"))
    elif angle == Angle.WHEELS:
        for x, y in ((250, 200), (710, 200), (250, 500), (710, 500)):
            _wheel(pen, x, y, 130)
    elif angle == Angle.DASHBOARD:
        _dashboard(pen, "187432" if occasion == Occasion.CHECK_IN else "187446")
    elif angle in (Angle.CABIN, Angle.LOAD_SPACE):
        _cabin(pen, angle == Angle.LOAD_SPACE)
    elif angle == Angle.ENGINE_BAY:
        _engine(pen)
    return f"{angle.label}, {occasion.label.lower()}"


def _bolt(pen: Draw, marked: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(92, 96, 96))
    pen.ellipse((250, 110, 710, 570), fill=(132, 136, 138))
    corners = [(480 + 190 * math.cos(math.radians(60 * k + 12)), 340 + 190 * math.sin(math.radians(60 * k + 12))) for k in range(6)]  # fmt: skip
    pen.polygon(corners, fill=STEEL if marked == "10.9" else (150, 128, 104))
    pen.ellipse((340, 200, 620, 480), outline=(120, 124, 126), width=5)
    pen.text((480, 340), marked, font=_font(84), fill=INK, anchor="mm")
    if marked == "10.9":  # the witness mark, from head to plate
        pen.line((590, 250, 720, 150), fill=(255, 138, 76), width=14)
    return f"Head of a tow bar bolt, property class {marked}"


def _relay(pen: Draw, state: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(150, 128, 98))
    pen.rounded_rectangle((360, 160, 600, 420), 12, fill=INK)
    pen.text((480, 250), "12 V", font=_font(54), fill=PAPER, anchor="mm")
    pen.text((480, 320), "30 A", font=_font(54), fill=PAPER, anchor="mm")
    tidy = state == "after"
    for number, colour in enumerate(((176, 60, 44), (40, 60, 120), INK, (190, 160, 40))):
        x = 395 + 57 * number
        path = [(x, 420), (x, 520), (x, 660)] if tidy else [(x, 420), (x - 90 + 70 * number, 500), (x + 120 - 80 * number, 580), (x - 40, 660)]  # fmt: skip
        pen.line(path, fill=colour, width=12, joint="curve")
        if not tidy:
            pen.ellipse((path[1][0] - 24, 480, path[1][0] + 24, 524), fill=(36, 36, 36))
    if tidy:
        pen.rounded_rectangle((370, 500, 590, 540), 6, fill=(60, 60, 60))
        pen.rounded_rectangle((680, 220, 800, 330), 8, fill=(190, 160, 40))
        pen.text((740, 275), "15 A", font=_font(40), fill=INK, anchor="mm")
    return (
        "Fridge relay, rewired with its own fuse"
        if tidy
        else "Fridge relay as found: twisted and taped joints"
    )


def _tyre(pen: Draw, size: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(176, 178, 172))
    pen.ellipse((-140, 60, 1100, 1300), fill=RUBBER)
    pen.ellipse((130, 330, 830, 1030), fill=STEEL)
    pen.text((480, 190), size, font=_font(88), fill=(206, 206, 200), anchor="mm")
    pen.text((250, 300), "1421", font=_font(44), fill=(160, 160, 156), anchor="mm")
    return f"Sidewall, rear left: {size}, made in week 14 of 2021"


def _hose(pen: Draw, detail: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(84, 88, 88))
    pen.line(((60, 560), (300, 480), (520, 330), (640, 260)), fill=RUBBER, width=70, joint="curve")
    pen.polygon([(590, 232), (690, 190), (740, 262), (640, 322)], fill=STEEL)
    pen.line(((700, 232), (900, 130)), fill=(150, 154, 156), width=34)
    pen.ellipse((560, 300, 660, 380), fill=(58, 52, 40))
    return "Power-steering hose: damp at the crimp, no drops"


def _cable(pen: Draw, state: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(96, 92, 86))
    rusty = state == "before"
    pen.line(((40, 420), (320, 360), (620, 350), (930, 240)), fill=RUBBER, width=40, joint="curve")
    pen.rounded_rectangle((380, 280, 560, 430), 12, fill=RUST if rusty else STEEL)
    pen.ellipse((430, 320, 510, 400), fill=(58, 40, 28) if rusty else (120, 124, 126))
    if rusty:
        for number in range(40):
            x, y = 300 + (number * 97) % 340, 300 + (number * 61) % 130
            pen.ellipse((x, y, x + 12, y + 9), fill=(168, 98, 52))
    return "Parking brake cable, right: rusted in its bracket" if rusty else "Parking brake cable, right: new"


def _sill(pen: Draw, detail: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(120, 120, 114))
    if detail == "far":
        pen.rounded_rectangle((80, 90, 880, 560), 30, fill=GREEN)
        pen.rectangle((300, 130, 560, 300), fill=GLASS)
        pen.line((290, 110, 290, 550), fill=INK, width=4)
        pen.line((600, 110, 600, 550), fill=INK, width=4)
        pen.rectangle((80, 540, 880, 590), fill=(50, 78, 58))
        pen.line((360, 560, 450, 566), fill=PAPER, width=6)
        return "Left sill from two metres"
    pen.rectangle((0, 120, 960, 560), fill=(54, 84, 62))
    for number in range(3):
        pen.line((210, 300 + 22 * number, 700 - 60 * number, 330 + 18 * number), fill=PAPER, width=7)
    pen.rectangle((180, 470, 800, 520), fill=(214, 190, 120))
    for number in range(13):
        pen.line((200 + 48 * number, 470, 200 + 48 * number, 496), fill=INK, width=3)
    pen.text((490, 545), "12 cm", font=_font(30), fill=PAPER, anchor="mm")
    return "Left sill, near: scratch through the paint, 12 cm"


def _ticket(pen: Draw, detail: str) -> str:
    pen.rectangle((0, 0, 960, 720), fill=(112, 98, 82))
    pen.polygon([(190, 40), (790, 56), (776, 650), (176, 634)], fill=PAPER)
    rows = [("TARN PUBLIC WEIGHBRIDGE", 36), ("ticket 20831", 26), ("", 20), ("TAR H 88", 30), ("ready to travel", 26),
            ("", 20), ("front axle   1280 kg", 34), ("rear axle    1690 kg", 34), ("together     2970 kg", 34)]  # fmt: skip
    y = 80
    for text, size in rows:
        pen.text((240, y), text, font=_font(size), fill=INK)
        y += size + 22
    pen.line((236, 470, 700, 482), fill=INK, width=3)
    pen.text((240, 560), "weighed and printed by machine", font=_font(22), fill=(96, 100, 102))
    return "Weighbridge ticket"


SUBJECTS: dict[str, Callable[[Draw, str], str]] = {
    "van": _van,
    "bolt": _bolt,
    "relay": _relay,
    "tyre": _tyre,
    "hose": _hose,
    "cable": _cable,
    "sill": _sill,
    "ticket": _ticket,
}
