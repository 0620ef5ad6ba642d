"""Drawn stand-ins for what a telephone would have taken: a place of a top before and after the work."""

from collections.abc import Callable, Mapping
from io import BytesIO

from PIL import Image, ImageDraw, ImageFilter

WIDTH, HEIGHT = 960, 720
SUBJECTS: Mapping[str, tuple[str, str]] = {
    # what is shown -> kind of work, letters of the position (IEC 81346-2)
    "switch": ("replace", "BG"),
    "wire": ("mend-wire", "BG"),
    "cylinder": ("replace", "MM"),
}
CAPTIONS: Mapping[str, tuple[str, str]] = {
    "switch": ("Contact green with corrosion", "New switch, terminals greased"),
    "wire": ("Wire broken at the hinge", "Joined, sealed, bound clear of the hinge"),
    "cylinder": ("Fluid at the rod seal", "New cylinder, dry after ten motions"),
}
_METAL, _DARK, _STEEL, _SHADE = "#6f757a", "#2b2f33", "#c9cfd4", "#4d5257"


def shot(subject: str, *, mended: bool) -> BytesIO:
    """A JPEG of WIDTH × HEIGHT pixels."""
    image = Image.new("RGB", (WIDTH, HEIGHT), _METAL)
    draw = ImageDraw.Draw(image)
    for row in range(0, HEIGHT, 6):  # light falls from above
        shade = 132 - row * 62 // HEIGHT
        draw.rectangle((0, row, WIDTH, row + 6), fill=(shade, shade + 4, shade + 8))
    draw.rectangle((0, 560, WIDTH, HEIGHT), fill=_SHADE)
    _DRAWN[subject](draw, mended)
    out = BytesIO()
    image.filter(ImageFilter.GaussianBlur(1.6)).save(out, "JPEG", quality=80)
    out.seek(0)
    return out


def _switch(draw: ImageDraw.ImageDraw, mended: bool) -> None:
    draw.polygon(((560, 210), (800, 90), (820, 120), (590, 260)), fill=_STEEL)  # the lever of its trigger
    draw.rounded_rectangle((330, 230, 640, 480), 18, fill=_DARK)
    draw.ellipse((540, 190, 610, 260), fill="#e4e7ea" if mended else "#9a8f6a")
    for x in (380, 590):
        draw.ellipse((x - 16, 416, x + 16, 448), fill=_STEEL)
    for number, x in enumerate((390, 470, 550)):
        draw.rectangle((x, 480, x + 26, 560), fill="#d8b25a" if mended else "#6d7f4e")
        draw.line((x + 13, 560, x - 90 + 60 * number, HEIGHT), fill=("#2f5d8a", "#8a2f2f", "#3d3d3d")[number], width=16)
    if not mended:
        for x, y, size in ((388, 500, 26), (470, 520, 34), (548, 496, 30), (430, 478, 18), (520, 545, 20)):
            draw.ellipse((x - size, y - size, x + size, y + size), fill="#7fa487")
            draw.ellipse((x - size // 2, y - size // 2, x + size // 2, y + size // 2), fill="#b9cfb4")


def _wire(draw: ImageDraw.ImageDraw, mended: bool) -> None:
    draw.ellipse((640, 120, 900, 380), fill=_SHADE)  # the hinge
    draw.ellipse((730, 210, 810, 290), fill=_STEEL)
    draw.line(((0, 470), (260, 440), (420, 420)), fill=_DARK, width=64)
    draw.line(((620, 400), (780, 460), (WIDTH, 600)), fill=_DARK, width=64)
    for number, color in enumerate(("#2f5d8a", "#b08a2e", "#3d7a4a")):
        y = 396 + 22 * number
        if number == 1 and not mended:
            draw.line(((410, y), (480, y - 14)), fill=color, width=14)
            draw.line(((570, y + 26), (630, y)), fill=color, width=14)
            for strand in range(-3, 4):
                draw.line(((480, y - 14), (510, y - 14 + 7 * strand)), fill="#d98a4a", width=3)
                draw.line(((570, y + 26), (545, y + 26 + 6 * strand)), fill="#d98a4a", width=3)
        else:
            draw.line(((410, y), (520, y + 4), (630, y)), fill=color, width=14)
    if mended:
        draw.rounded_rectangle((462, 404, 582, 438), 14, fill="#7a1f1f")
        for x in (440, 604):
            draw.rectangle((x - 7, 384, x + 7, 462), fill="#e9e6da")


def _cylinder(draw: ImageDraw.ImageDraw, mended: bool) -> None:
    draw.rounded_rectangle((120, 290, 600, 420), 30, fill="#3a4046" if mended else "#545248")
    draw.rounded_rectangle((570, 270, 650, 440), 14, fill="#23272b")
    draw.rectangle((650, 330, 900, 380), fill="#eef1f3")
    draw.rectangle((650, 338, 900, 348), fill="#ffffff")
    draw.ellipse((860, 300, 940, 410), fill=_SHADE)
    for x in (200, 480):
        draw.rectangle((x, 230, x + 40, 300), fill="#8a9096")
        draw.line(((x + 20, 230), (x - 40, 60)), fill=_DARK, width=26)
    if not mended:
        draw.polygon(((600, 430), (700, 380), (720, 470), (668, 640), (612, 640)), fill="#8c6b2f")
        draw.ellipse((520, 600, 780, 690), fill="#9c7936")
        draw.ellipse((580, 620, 700, 660), fill="#b8954e")


_DRAWN: Mapping[str, Callable[[ImageDraw.ImageDraw, bool], None]] = {
    "switch": _switch,
    "wire": _wire,
    "cylinder": _cylinder,
}
