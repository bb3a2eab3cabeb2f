"""PDF for production: the films as spot colours, their cut lines as processing steps.

Every film has two layers (optional-content groups). On the first, named like the film, its
contours are filled, to be looked at. On the second the same contours and the film's knife lines are
stroked; its group carries the metadata that names it a kiss cut, by which a cutter's or printer's
software finds the lines without knowing any layer's name: ``GTS_Metadata`` with the group
``Structural`` and the type ``PartialCutting`` (ISO 19593-1, tables 2 and 3, as the PDF Association
models them in its Arlington PDF model, GTS_ProcStepsGroup).
"""

from __future__ import annotations

import io
import math
from decimal import Decimal

import pikepdf
from pikepdf import Array, Dictionary, Name, String

from preflight.curves import Path
from preflight.errors import printable
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.steps import decimal, steps

POINTS_PER_MM = 72 / 25.4
LARGEST_SIDE = 14_400
"""A page's largest side in user units (ISO 32000-1, annex C); beyond it the unit is made larger."""
_LONGEST_NAME = 127
"""Bytes of a name (ISO 32000-1, annex C)."""
CUT_LINE_WIDTH = 0.1
"""mm, of the stroke on a processing-step layer."""
_DARK = 0.2
"""Films darker than this (relative luminance) get a grey cut line, lighter ones a black one."""


def write_pdf(cut: CutFile) -> bytes:
    """Return ``cut`` as a PDF of one page as large as the drawing area.

    Spot colours are called "Film NAME" and "Cut NAME": a bare film's name such as Black would be
    taken for the process colour. Cut lines overprint. Curves are cubic Beziers; coordinates are
    rounded to 1 um. There is no date and no random id: the same ``cut`` gives the same bytes.
    """
    pdf = pikepdf.new()
    unit = max(1, math.ceil(max(cut.width, cut.height) * POINTS_PER_MM / LARGEST_SIDE))
    scale = POINTS_PER_MM / unit
    layers = _Layers(pdf)
    # From here on the content is in mm, y down.
    content = [f"{_real(scale)} 0 0 {_real(-scale)} 0 {_real(cut.height * scale)} cm"]
    drawn = [path_operators(film.path) for film in cut.films]
    for film, operators in zip(cut.films, drawn, strict=True):
        content.append(layers.painted(film, operators))
    for film, operators in zip(cut.films, drawn, strict=True):
        content.append(layers.cut(film, operators))
    page = Dictionary(
        Type=Name.Page,
        MediaBox=Array([0, 0, _fixed(cut.width * scale), _fixed(cut.height * scale)]),
        Resources=layers.resources(),
        Contents=pdf.make_stream("\n".join(content).encode("ascii")),
    )
    if unit > 1:
        page.UserUnit = unit
    pdf.pages.append(pikepdf.Page(pdf.make_indirect(page)))
    pdf.Root.OCProperties = layers.properties()
    if cut.title:
        pdf.docinfo.Title = String(printable(cut.title))
    if cut.claim:
        pdf.docinfo.Subject = String(printable(cut.claim))
    out = io.BytesIO()
    pdf.save(
        out,
        min_version="1.7",
        deterministic_id=True,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
        compress_streams=True,
    )
    return out.getvalue()


class _Layers:
    """The page's layers, colour spaces and graphics states, as they are called for."""

    def __init__(self, pdf: pikepdf.Pdf) -> None:
        self._pdf = pdf
        self._groups: list[pikepdf.Object] = []
        self._spaces = Dictionary()
        self._colorants: set[str] = set()
        self._named = Dictionary()

    def painted(self, film: CutFilm, operators: str) -> str:
        """Return the content of the layer that shows the film."""
        group = Dictionary(Type=Name.OCG, Name=String(printable(film.name)))
        space = self._space(f"Film {film.name}", film.rgb)
        return self._layer(group, f"{space} cs 1 scn\n{operators}\nf*" if operators else "")

    def cut(self, film: CutFilm, operators: str) -> str:
        """Return the content of the layer that holds the film's cut and knife lines."""
        group = Dictionary(
            Type=Name.OCG,
            Name=String(f"{printable(film.name)}: kiss cut"),
            GTS_Metadata=Dictionary(
                GTS_ProcStepsGroup=Name.Structural, GTS_ProcStepsType=Name.PartialCutting
            ),
        )
        light = sum(w * c / 255 for w, c in zip((0.2126, 0.7152, 0.0722), film.rgb, strict=True)) > _DARK
        space = self._space(f"Cut {film.name}", (0, 0, 0) if light else (153, 153, 153))
        knife = path_operators(film.knife) if film.knife is not None else ""
        lines = "\n".join(part for part in (operators, knife) if part)
        state = f"/Over gs {space} CS 1 SCN {CUT_LINE_WIDTH:g} w 1 J 1 j"
        return self._layer(group, f"{state}\n{lines}\nS" if lines else "")

    def _layer(self, group: Dictionary, content: str) -> str:
        self._groups.append(self._pdf.make_indirect(group))
        key = f"/L{len(self._groups)}"
        self._named[key] = self._groups[-1]
        return f"/OC {key} BDC q\n{content}\nQ EMC" if content else f"/OC {key} BDC EMC"

    def _space(self, name: str, rgb: tuple[int, int, int]) -> str:
        """Add a spot colour whose full tint shows as ``rgb``; return its name in the content."""
        key = f"/C{len(self._spaces) + 1}"
        tint = Dictionary(
            FunctionType=2,
            Domain=Array([0, 1]),
            C0=Array([1, 1, 1]),
            C1=Array([_fixed(channel / 255) for channel in rgb]),
            N=1,
        )
        self._spaces[key] = Array([Name.Separation, self._colorant(name), Name.DeviceRGB, tint])
        return key

    def _colorant(self, wanted: str) -> pikepdf.Name:
        """Return a colorant's name that fits into a PDF name and that no other has."""
        plain = printable(wanted).encode()[: _LONGEST_NAME - 4].decode("utf-8", "ignore")
        name, number = plain, 1
        while name in self._colorants:
            number += 1
            name = f"{plain} {number}"
        self._colorants.add(name)
        return Name("/" + name)

    def resources(self) -> Dictionary:
        """Return the page's resources."""
        # Overprint keeps a cut line from knocking the artwork out beneath it (ISO 19593-1, 6.3.3; memory).
        over = Dictionary(Type=Name.ExtGState, OP=True, op=True, OPM=1)
        return Dictionary(ColorSpace=self._spaces, Properties=self._named, ExtGState=Dictionary(Over=over))

    def properties(self) -> Dictionary:
        """Return the document's optional-content properties: all layers on, in painting order."""
        default = Dictionary(
            Name=String("Layers"), BaseState=Name.ON, Order=Array(self._groups), ON=Array(self._groups)
        )
        return Dictionary(OCGs=Array(self._groups), D=default)


def path_operators(path: Path) -> str:
    """Return the operators that construct ``path`` (mm), rounded to 1 um."""
    words = {"move": "m", "line": "l", "curve": "c", "close": "h"}
    return "\n".join(
        " ".join((*(decimal(value) for value in values), words[kind])) for kind, values in steps(path)
    )


def _real(value: float) -> str:
    """Return a number as PDF writes one: no exponent."""
    return f"{value:.9f}".rstrip("0").rstrip(".")


def _fixed(value: float) -> Decimal:
    return Decimal(_real(value))
