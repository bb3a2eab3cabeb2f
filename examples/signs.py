"""The signs that Marrowby Lane Allotments and its small shop want cut."""

from __future__ import annotations

from examples.ornaments import bunting, carrot, hive, leaf, spade, sprig, sun
from examples.outlines import ellipse, frame, line, panel, polygon, together
from examples.sheet import BEET, GREEN, INK, LEAF, SUN, WHITE, Sheet

Files = dict[str, str]


def gate_board() -> Files:
    """One film on a white board: clean."""
    sheet = Sheet(800, 500, "Gate board, Marrowby Lane Allotments")
    sheet.fill(frame(12, 12, 776, 476, 34, band=8), GREEN, "frame")
    sheet.fill(line("Marrowby Lane", "script", 104, 400, 176, least=2.5), GREEN, "name")
    sheet.fill(line("ALLOTMENTS", "black", 88, 400, 276, track=8), GREEN, "allotments")
    rule = panel(104, 340, 230, 6, 3) + panel(466, 340, 230, 6, 3)
    sheet.fill(rule, GREEN, "rules")
    sheet.fill(sprig(58).moved(400, 356), GREEN, "sprig")
    sheet.fill(line("Please close the gate after you", "sans", 46, 400, 428, track=1.2), GREEN, "request")
    return {"gate-board.svg": sheet.svg()}


def shop_window() -> Files:
    """White film for the inside of a pane, drawn as it is read from outside."""
    sheet = Sheet(1000, 640, "Shop window, The Potting Shed")
    sheet.fill(panel(0, 0, 1000, 640, 2), "#7f9aa3", "pane", "glass")
    arch = frame(60, 50, 880, 540, 60, band=7)
    sheet.fill(arch, WHITE, "border", "lettering")
    sheet.fill(line("The Potting Shed", "script", 112, 500, 216, least=2.5), WHITE, "name", "lettering")
    sheet.fill(line("SEEDS  ·  TOOLS  ·  HONEY", "black", 56, 500, 318, track=4), WHITE, "goods", "lettering")
    sheet.fill(hive(112).moved(500, 452), WHITE, "hive", "lettering")
    for name, side in (("left", -1), ("right", 1)):
        row = together(
            [leaf(64, 27).turned(side * 64).moved(500 + side * (96 + i * 74), 438) for i in range(4)]
        )
        sheet.fill(row, WHITE, f"leaves-{name}", "lettering")
    sheet.fill(line("Open Saturdays 9 to 1", "sans", 50, 500, 536, track=1.2), WHITE, "hours", "lettering")
    job = """\
# White film on the inside of the pane, read from outside.
use = "exterior"
surface = "second"
drawn_as = "as-read"

[size]
width = "1000 mm"

[film]
kind = "cast"
name = "White cast"

[layers.glass]
role = "guide"

[layers.lettering]
role = "film"

[roll]
width = "760 mm"
"""
    return {"shop-window.svg": sheet.svg(), "shop-window.toml": job}


def van_door() -> Files:
    """Two films for a van's door."""
    sheet = Sheet(1100, 760, "Van door, Marrowby Lane veg boxes")
    sheet.fill(sun(132, 16).moved(550, 186), SUN, "sun", "yellow")
    for i, x in enumerate((168, 302, 798, 932)):
        root = carrot(140).turned(8 if x < 550 else -8).moved(x, 176)
        sheet.fill(root, SUN, f"carrot-{i + 1}", "yellow")
        tops = sprig(88).turned(8 if x < 550 else -8).moved(x, 156)
        sheet.fill(tops, GREEN, f"tops-{i + 1}", "green")
    sheet.fill(line("Marrowby Lane", "script", 138, 550, 478, least=3), GREEN, "name", "green")
    sheet.fill(line("VEG BOXES TO YOUR DOOR", "black", 70, 550, 588, track=4), GREEN, "offer", "green")
    sheet.fill(panel(250, 624, 600, 8, 4), SUN, "rule", "yellow")
    sheet.fill(line("marrowby.example", "sans", 64, 550, 704, track=2), GREEN, "address", "green")
    job = f"""\
# Cast film in two colours for a painted van door.
use = "vehicle"

[size]
width = "1100 mm"

[film]
kind = "cast"

[films.green]
kind = "cast"
name = "Leaf green cast"

[films.yellow]
kind = "cast"
name = "Sun yellow cast"

[colours."{GREEN}"]
role = "film"
film = "green"

[colours."{SUN}"]
role = "film"
film = "yellow"

[roll]
width = "1220 mm"
"""
    return {"van-door.svg": sheet.svg(), "van-door.toml": job}


def stall_banner() -> Files:
    """A market stall's banner, larger than the roll both ways."""
    sheet = Sheet(2400, 800, "Stall banner, Marrowby Lane plant sale")
    for i, flag in enumerate(bunting(2300, 14, 150, 70)):
        colour = (GREEN, SUN, BEET)[i % 3]
        sheet.fill(flag.moved(50, 40), colour, f"flag-{i + 1}", "bunting")
    sheet.fill(line("Plant Sale", "round", 280, 1200, 520), BEET, "title", "lettering")
    sheet.fill(line("SATURDAY FROM NINE", "black", 124, 1200, 690, track=10), GREEN, "when", "lettering")
    for name, x in (("left", 230), ("right", 2170)):
        pot = polygon([(x - 120, 540), (x + 120, 540), (x + 88, 740), (x - 88, 740)])
        rim = panel(x - 140, 480, 280, 46, 10)
        sheet.fill(pot + rim, BEET, f"pot-{name}", "ornaments")
        sheet.fill(sprig(200).moved(x, 462), LEAF, f"plant-{name}", "ornaments")
    roles = "\n".join(f'[colours."{c}"]\nrole = "film"\n' for c in (GREEN, SUN, BEET, LEAF))
    job = f"""\
# A banner that is taller than the roll is wide, whichever way it is turned.
use = "exterior"

[size]
width = "2400 mm"

[film]
kind = "calendered"

[roll]
width = "24 in"

{roles}"""
    return {"stall-banner.svg": sheet.svg(), "stall-banner.toml": job}


def plot_marker() -> Files:
    """A template whose name field is still live text."""
    sheet = Sheet(240, 140, "Plot marker, template")
    sheet.fill(frame(5, 5, 230, 130, 14, band=3.5), GREEN, "frame")
    sheet.fill(spade(104).moved(36, 122), GREEN, "spade")
    sheet.fill(line("PLOT", "black", 27, 68, 42, anchor="start", track=2), GREEN, "plot")
    sheet.fill(line("27", "black", 78, 66, 100, anchor="start", track=1), GREEN, "number")
    sheet.fill(sprig(42).moved(194, 92), GREEN, "sprig")
    sheet.add(
        '<text id="name-field" x="68" y="123" font-family="Source Sans Pro" font-weight="700"'
        f' font-size="17" fill="{GREEN}">Name of the tenant</text>'
    )
    return {"plot-marker.svg": sheet.svg()}


def harvest_show() -> Files:
    """A whole sign as it comes in by mail, with several defects at once."""
    sheet = Sheet(900, 600, "Harvest show")
    sheet.define(
        '<linearGradient id="glow" x1="0" y1="0" x2="0" y2="1">'
        f'<stop offset="0" stop-color="#ffd34d"/><stop offset="1" stop-color="{SUN}"/></linearGradient>'
    )
    sheet.fill(ellipse(450, 156, 84), "url(#glow)", "sun", "ornaments")
    for i in range(9):
        ray = panel(450 + 100, 156 - 6, 34, 12, 6).turned(180 + i * 22.5, 450, 156)
        sheet.fill(ray, SUN, f"ray-{i + 1}", "ornaments")
    sheet.fill(line("Harvest Show", "script", 128, 450, 342), BEET, "title", "lettering")
    sheet.fill(line("ALLOTMENTS", "black", 84, 450, 430, track=8), GREEN, "where", "lettering")
    sheet.fill(panel(120, 452, 660, 78, 16), GREEN, "band", "lettering")
    sheet.fill(line("Best marrow wins a spade", "sans", 50, 450, 508, track=1), WHITE, "prize", "lettering")
    sheet.add(
        '<text id="date" x="450" y="566" text-anchor="middle" font-family="Source Sans Pro"'
        f' font-size="28" fill="{INK}">Saturday 12 September, two o’clock</text>',
        "lettering",
    )
    sheet.stroke(panel(14, 14, 872, 572, 20), GREEN, 0.2, "border", layer="frame")
    for name, x in (("left", 176), ("right", 724)):
        marrow = ellipse(x, 178, 30, 46)
        sheet.fill(marrow, GREEN, f"marrow-{name}", "ornaments")
        if name == "left":
            sheet.fill(marrow, GREEN, "marrow-left-copy", "ornaments")
        sheet.fill(panel(x - 0.3, 106, 0.6, 30, 0.2), GREEN, f"stem-{name}", "ornaments")
        sheet.fill(sprig(56).moved(x, 102), LEAF, f"leaves-{name}", "ornaments")
    return {"harvest-show.svg": sheet.svg()}


SIGNS = (gate_board, shop_window, van_door, stall_banner, plot_marker, harvest_show)
