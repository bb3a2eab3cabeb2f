"""One small sign for each kind of defect, and as little else wrong with it as can be."""

from __future__ import annotations

import base64
import struct
import zlib

from examples.ornaments import arrow, carrot, hive, leaf, spade, sun, watering_can
from examples.outlines import Command, Drawing, ellipse, frame, letters, line, panel, placed, together
from examples.sheet import BEET, GREEN, LEAF, SKY, SUN, WHITE, Sheet

Files = dict[str, str]


def live_text() -> Files:
    """A price that is still live text."""
    sheet = Sheet(420, 260, "Honey for sale")
    sheet.fill(frame(8, 8, 404, 244, 22, band=5), SUN, "frame")
    sheet.fill(hive(110).moved(96, 186), SUN, "hive")
    sheet.fill(line("HONEY", "black", 62, 180, 126, anchor="start", track=2), SUN, "honey")
    sheet.add(
        '<text id="price" x="182" y="192" font-family="Source Sans Pro" font-weight="700" font-size="44"'
        f' fill="{SUN}">£4.50 a jar</text>'
    )
    return {"live-text.svg": sheet.svg()}


def overlapping_letters() -> Files:
    """Script letters set so tight that they run into each other, one shape a letter."""
    sheet = Sheet(520, 240, "Honeycomb tea room")
    word = placed(letters("Honeycomb", "script", 104, track=-2), 260, 116)
    for number, letter in enumerate(word, 1):
        sheet.fill(letter, BEET, f"letter-{number}", "honeycomb")
    sheet.fill(line("TEA ROOM", "black", 70, 260, 200, track=8), GREEN, "tea-room")
    return {"overlapping-letters.svg": sheet.svg()}


def hidden_shape() -> Files:
    """An old word that was covered by an arrow and never deleted."""
    sheet = Sheet(400, 240, "Tool library")
    sheet.fill(line("LIBRARY", "black", 34, 210, 148, track=2), GREEN, "old-word")
    sheet.fill(arrow(280, 100).moved(96, 136), GREEN, "arrow")
    sheet.fill(line("TOOLS", "black", 66, 226, 72, track=8), GREEN, "tools")
    sheet.fill(spade(200).moved(50, 220), GREEN, "spade")
    return {"hidden-shape.svg": sheet.svg()}


def double_cut() -> Files:
    """A number that was pasted twice on the same spot."""
    sheet = Sheet(300, 260, "Shed 4")
    sheet.fill(frame(8, 8, 284, 244, 24, band=6), SKY, "frame")
    sheet.fill(line("SHED", "black", 64, 150, 88, track=5), SKY, "shed")
    number = line("4", "black", 170, 150, 222)
    sheet.fill(number, SKY, "number")
    sheet.fill(number, SKY, "number-again")
    return {"double-cut.svg": sheet.svg()}


def cut_in_waste() -> Files:
    """A crescent made by laying a disc in the board's colour over the moon, past its edge."""
    sheet = Sheet(420, 220, "Night walk")
    sheet.fill(ellipse(88, 110, 62), SKY, "moon")
    sheet.fill(ellipse(122, 94, 54), WHITE, "shadow")
    sheet.fill(line("NIGHT", "black", 70, 202, 100, anchor="start", track=4), SKY, "night")
    sheet.fill(line("WALK", "black", 70, 202, 178, anchor="start", track=4), SKY, "walk")
    job = f"""\
# White is the board itself: what is painted white is a hole in the film.
[colours."{WHITE}"]
role = "substrate"

[colours."{SKY}"]
role = "film"
"""
    return {"cut-in-waste.svg": sheet.svg(), "cut-in-waste.toml": job}


def open_contour() -> Files:
    """An arrow whose outline does not quite meet."""
    sheet = Sheet(480, 220, "Way to the compost")
    sheet.fill(line("COMPOST", "black", 78, 240, 92, track=4), GREEN, "compost")
    outline = arrow(400, 84).moved(40, 156)
    (first, start), *rest, _ = outline.commands
    last = (start[0][0] + 1.4, rest[-1][1][0][1])
    unfinished = Drawing(
        ((first, start), *rest[:-1], ("L", (last,)), ("L", ((start[0][0], start[0][1] + 1.2),)))
    )
    sheet.fill(unfinished, GREEN, "arrow")
    return {"open-contour.svg": sheet.svg()}


def centre_line() -> Files:
    """A watering can drawn with thick strokes: the knife would follow their middle."""
    sheet = Sheet(460, 220, "Water here")
    round_ends = 'stroke-linecap="round" stroke-linejoin="round"'
    sheet.stroke(watering_can(200).moved(140, 176), SKY, 11, "watering-can", more=round_ends)
    sheet.fill(line("WATER", "black", 56, 354, 104, track=2), SKY, "water")
    sheet.fill(line("HERE", "black", 56, 354, 172, track=2), SKY, "here")
    return {"stroke-centre-line.svg": sheet.svg()}


def hairline() -> Files:
    """A rule that is thinner than any film can be cut."""
    sheet = Sheet(420, 200, "Quiet orchard")
    sheet.fill(line("QUIET", "black", 66, 210, 84, track=8), GREEN, "quiet")
    rule = Drawing((("M", ((50.0, 108.0),)), ("L", ((370.0, 108.0),))))
    sheet.stroke(rule, GREEN, 0.1, "rule")
    sheet.fill(line("ORCHARD", "black", 66, 210, 174, track=4), GREEN, "orchard")
    return {"hairline.svg": sheet.svg()}


def dashed() -> Files:
    """A dashed border."""
    sheet = Sheet(420, 260, "Seed swap")
    dashes = 'stroke-dasharray="18 10" stroke-linecap="butt"'
    sheet.stroke(panel(16, 16, 388, 228, 24), BEET, 6, "border", more=dashes)
    sheet.fill(line("SEED", "black", 84, 210, 120, track=6), BEET, "seed")
    sheet.fill(line("SWAP", "black", 84, 210, 206, track=6), BEET, "swap")
    return {"dashed-stroke.svg": sheet.svg()}


def gradient() -> Files:
    """A sun that runs from yellow to orange."""
    sheet = Sheet(400, 280, "Sunflowers")
    sheet.define(
        '<linearGradient id="dawn" x1="0" y1="0" x2="0" y2="1">'
        '<stop offset="0" stop-color="#ffd34d"/><stop offset="1" stop-color="#e2751b"/></linearGradient>'
    )
    sheet.fill(sun(92, 14).moved(200, 112), "url(#dawn)", "sun")
    sheet.fill(line("SUNFLOWERS", "black", 52, 200, 254, track=2), GREEN, "sunflowers")
    return {"gradient.svg": sheet.svg()}


def picture() -> Files:
    """A photograph, here a few coloured pixels, set beside the words."""
    sheet = Sheet(420, 220, "Bee hotel")
    data = base64.b64encode(_pixels()).decode("ascii")
    sheet.add(
        '<image id="photo" x="24" y="30" width="160" height="160" preserveAspectRatio="none"'
        f' xlink:href="data:image/png;base64,{data}"/>'
    )
    sheet.fill(line("BEE", "black", 84, 206, 102, anchor="start", track=4), GREEN, "bee")
    sheet.fill(line("HOTEL", "black", 66, 206, 182, anchor="start", track=2), GREEN, "hotel")
    return {"picture.svg": sheet.svg()}


def _pixels(side: int = 32) -> bytes:
    """Return a PNG of a bee-striped disc on meadow green, made byte by byte (PNG, ISO/IEC 15948)."""
    rows = []
    for y in range(side):
        row = bytearray([0])  # filter type "none"
        for x in range(side):
            inside = ((x - 15.5) / 13) ** 2 + ((y - 15.5) / 10) ** 2 < 1
            stripe = (x // 4) % 2 == 0
            row += bytes((240, 167, 31) if stripe else (34, 40, 45)) if inside else bytes((150, 190, 120))
        rows.append(bytes(row))

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    # Stored, not deflated: compressors differ between versions of zlib, stored blocks do not.
    raw = b"".join(rows)
    stored = b"\x78\x01\x01" + struct.pack("<HH", len(raw), len(raw) ^ 0xFFFF) + raw
    stored += struct.pack(">I", zlib.adler32(raw))
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", stored) + chunk(b"IEND", b"")


def thin_part() -> Files:
    """A carrot whose leaves hang on stems of half a millimetre."""
    sheet = Sheet(300, 320, "Carrots")
    sheet.fill(_thin_tops().moved(150, 112), GREEN, "tops")
    sheet.fill(carrot(110).moved(150, 128), SUN, "carrot")
    sheet.fill(line("CARROTS", "black", 54, 150, 294, track=3), GREEN, "carrots")
    return {"thin-part.svg": sheet.svg()}


def _thin_tops() -> Drawing:
    """Return three leaves on thin stalks that spring from one foot, as one outline."""
    stalk: tuple[Command, ...] = (
        ("L", ((-0.25, -8.0),)),
        ("L", ((-0.25, -52.0),)),
        ("C", ((-14.0, -62.0), (-13.0, -82.0), (-1.5, -94.0))),
        ("Q", ((0.0, -95.0), (1.5, -94.0))),
        ("C", ((13.0, -82.0), (14.0, -62.0), (0.25, -52.0))),
        ("L", ((0.25, -8.0),)),
    )
    foot: tuple[Command, ...] = (
        ("L", ((12.0, 4.0),)),
        ("Q", ((0.0, -2.0), (-12.0, 4.0))),
        ("Z", ()),
    )
    fan = together([Drawing(stalk).turned(turn) for turn in (-40, 0, 40)])
    return Drawing((("M", fan.commands[0][1]), *fan.commands[1:], *foot))


def narrow_gap() -> Files:
    """Bars of a gate that all but touch."""
    sheet = Sheet(360, 260, "Gate")
    for i in range(6):
        width = 40.0
        sheet.fill(panel(58 + i * (width + 0.2), 26, width, 124, 16), GREEN, f"bar-{i + 1}")
    sheet.fill(line("GATE", "black", 84, 180, 228, track=10), GREEN, "gate")
    return {"narrow-gap.svg": sheet.svg()}


def off_roll() -> Files:
    """A disc wider than the roll, whichever way it is turned."""
    sheet = Sheet(1000, 1000, "Pond, no fishing")
    sheet.fill(ellipse(500, 500, 480) + ellipse(500, 500, 420, hole=True), SKY, "ring")
    sheet.fill(line("POND", "black", 250, 500, 490, track=10), SKY, "pond")
    sheet.fill(line("NO FISHING", "black", 120, 500, 660, track=8), SKY, "no-fishing")
    job = """\
# The shop has this blue on a 24 inch roll only.
[size]
width = "1000 mm"

[roll]
width = "24 in"
"""
    return {"off-roll.svg": sheet.svg(), "off-roll.toml": job}


def size_unstated() -> Files:
    """A drawing that says nothing about its size."""
    sheet = Sheet(360, 240, "Eggs", sized=False)
    sheet.fill(line("EGGS", "black", 120, 180, 128, track=8), BEET, "eggs")
    eggs = together([ellipse(100 + i * 80, 186, 24, 31) for i in range(3)])
    sheet.fill(eggs, BEET, "three-eggs")
    return {"size-unstated.svg": sheet.svg()}


def white_unstated() -> Files:
    """White letters on a green panel: a hole, or a second film?"""
    sheet = Sheet(460, 220, "Meeting point")
    sheet.fill(panel(10, 10, 440, 200, 30), GREEN, "panel")
    sheet.fill(line("MEETING", "black", 78, 230, 98, track=6), WHITE, "meeting")
    sheet.fill(line("POINT", "black", 78, 230, 180, track=6), WHITE, "point")
    return {"white-unstated.svg": sheet.svg()}


def clipped_shape() -> Files:
    """A row of leaves shown through a round window."""
    sheet = Sheet(300, 320, "Leaf trail")
    sheet.define(f'<clipPath id="window"><path d="{ellipse(150, 124, 104).data}"/></clipPath>')
    leaves = together([leaf(200, 66).moved(68 + i * 82, 230) for i in range(3)])
    sheet.fill(leaves, LEAF, "leaves", more='clip-path="url(#window)"')
    sheet.fill(line("LEAF TRAIL", "black", 46, 150, 288, track=1), GREEN, "leaf-trail")
    return {"clipped-shape.svg": sheet.svg()}


def effect() -> Files:
    """Lettering with a drop shadow, which is a filter."""
    sheet = Sheet(460, 220, "Plant sale")
    sheet.define(
        '<filter id="shadow"><feDropShadow dx="3" dy="3" stdDeviation="2" flood-opacity="0.5"/></filter>'
    )
    sheet.fill(line("Plant Sale", "round", 86, 230, 112), BEET, "title", more='filter="url(#shadow)"')
    sheet.fill(line("SUNDAY", "black", 66, 230, 190, track=8), GREEN, "sunday")
    return {"filter-shadow.svg": sheet.svg()}


def path_error() -> Files:
    """Path data that stops being valid half-way, as after a bad hand edit."""
    sheet = Sheet(400, 220, "Potatoes")
    sheet.fill(line("POTATOES", "black", 68, 200, 100, track=3), BEET, "potatoes")
    good = together([ellipse(110, 160, 46, 32), ellipse(290, 160, 46, 32)])
    sheet.add(f'<path id="potato-row" fill="{BEET}" d="{good.data}M180 160L2OO 190Z"/>')
    return {"path-error.svg": sheet.svg()}


def nothing() -> Files:
    """A sheet whose only layer was switched off before it was saved."""
    sheet = Sheet(300, 200, "Mind the pond")
    sheet.add('<g id="lettering" display="none">')
    sheet.fill(line("MIND THE POND", "black", 40, 150, 114), SKY, "words")
    sheet.add("</g>")
    return {"nothing-to-cut.svg": sheet.svg()}


DEFECTS = (
    live_text,
    overlapping_letters,
    hidden_shape,
    double_cut,
    cut_in_waste,
    open_contour,
    centre_line,
    hairline,
    dashed,
    gradient,
    picture,
    thin_part,
    narrow_gap,
    off_roll,
    size_unstated,
    white_unstated,
    clipped_shape,
    effect,
    path_error,
    nothing,
)
