"""Writers: `CutFile` to the bytes of a file for production, one module a format."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from preflight.writers.dxf import POLYLINE_TOLERANCE, write_dxf
from preflight.writers.hpgl import write_hpgl
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.pdf import write_pdf
from preflight.writers.svg import write_svg

__all__ = [
    "LASER_CAUTION",
    "WRITERS",
    "CutFile",
    "CutFilm",
    "Writer",
    "write_dxf",
    "write_hpgl",
    "write_pdf",
    "write_svg",
]

LASER_CAUTION = (
    "Never cut PVC film with a laser: it gives off chlorine and hydrogen chloride, which are poisonous and eat "
    "the machine."
)
"""Source: workshop rules of several makerspaces. Most sign film is PVC."""
_TEST_CUT = "Geometry only: test-cut first."


@dataclass(frozen=True, slots=True)
class Writer:
    """A format for production, as plain data and one function."""

    word: str
    """The format's stable word for programs."""
    ending: str
    """Of the file's name, with its dot."""
    media_type: str
    title: str
    """For people, a line long."""
    write: Callable[[CutFile], bytes]
    """All films, with the format's stock settings."""
    caution: str
    """To be shown beside every download."""


def _polylines(cut: CutFile) -> bytes:
    return write_dxf(cut, flattened=POLYLINE_TOLERANCE)


def _caution(more: str = "") -> str:
    return " ".join(part for part in (_TEST_CUT, more, LASER_CAUTION) if part)


WRITERS: tuple[Writer, ...] = (
    Writer(
        word="svg",
        ending=".svg",
        media_type="image/svg+xml",
        title="SVG: a group for each film, curves kept, millimetres",
        write=write_svg,
        caution=_caution(),
    ),
    Writer(
        word="pdf",
        ending=".pdf",
        media_type="application/pdf",
        title="PDF: a spot colour and a kiss-cut layer for each film (ISO 19593-1)",
        write=write_pdf,
        caution=_caution(
            "Each film’s lines are there twice, as filled artwork and on its kiss-cut layer: cut one of the two. "
            "Beyond 5.08 m the page has a larger user unit, which some programs pass over: check the size."
        ),
    ),
    Writer(
        word="dxf",
        ending=".dxf",
        media_type="image/vnd.dxf",
        title="DXF: a layer for each film, curves as splines, millimetres",
        write=write_dxf,
        caution=_caution("If your program shows no curves, take the DXF with polylines."),
    ),
    Writer(
        word="dxf-polylines",
        ending=".dxf",
        media_type="image/vnd.dxf",
        title=f"DXF: a layer for each film, curves as polylines within {POLYLINE_TOLERANCE:g} mm",
        write=_polylines,
        caution=_caution(),
    ),
    Writer(
        word="hpgl",
        ending=".plt",
        media_type="application/vnd.hp-hpgl",
        title="HP-GL: pen moves in units of 0.025 mm, a pen for each film",
        write=write_hpgl,
        caution=_caution(
            "Force, speed and blade offset are the machine’s own settings. Cut one film at a time, with "
            "the other films’ pens switched off. Machines with 16-bit coordinates reach 819 mm."
        ),
    ),
)
"""All formats, in the order in which they are offered."""
