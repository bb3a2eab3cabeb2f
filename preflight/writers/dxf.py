"""DXF for production: a layer a film, millimetres, y up.

A contour with curves is one closed SPLINE of degree 3, whose knots make it exactly the Bezier
curves of the cut, straight segments included; a contour of straight segments is a closed
LWPOLYLINE. For programs that do not read splines, `write_dxf` flattens them all.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from preflight.curves import Floats, Path, flatten
from preflight.errors import WriteError, printable
from preflight.writers.model import CutFile, CutFilm

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

VERSION = "R2010"
MILLIMETRES = 4
"""Value of $INSUNITS for millimetres (DXF reference, header variables)."""
POLYLINE_TOLERANCE = 0.01
"""Chord error of the stock flattened output, mm."""
_DIGITS = 4
"""Decimals of a coordinate in mm: off by at most 0.05 um."""
_FORBIDDEN = frozenset("<>/\\\":;?*|=,'`")
_LONGEST_NAME = 255
_CLOSED, _PLANAR = 1, 8
_NOWHEN = 2451544.5
"""The Julian date of 1 January 2000, which stands in for the time of writing."""
_NO_ID = "{00000000-0000-0000-0000-000000000000}"


def write_dxf(cut: CutFile, *, flattened: float | None = None) -> bytes:
    """Return ``cut`` as an ASCII DXF drawing (R2010) in model space, 1 drawing unit = 1 mm.

    With ``flattened``, a chord error in mm, all curves become polylines that stray by no more from
    them. Layers are named after the films, without the characters DXF does not allow, and carry
    the films' true colours; knife lines have layers of their own. y = 0 is the drawing area's lower
    edge. Title and claim stand among the drawing's custom properties. There is no time and no
    random id: the same ``cut`` gives the same bytes. Raises `WriteError` for ``flattened`` not
    above 0.
    """
    if flattened is not None and not 0 < flattened < np.inf:
        raise WriteError(
            "flattening", f"Curves cannot be flattened within {flattened:g} mm.", "Give a length above 0 mm."
        )
    from ezdxf.filemanagement import new  # noqa: PLC0415  (takes time that only this format needs)

    doc = new(VERSION, units=MILLIMETRES)
    doc.header["$MEASUREMENT"] = 1
    for tag, value in (("Title", cut.title), ("Description", cut.claim)):
        if value:
            doc.header.custom_vars.append(tag, printable(value))
    space = doc.modelspace()
    corner = (round(cut.width, _DIGITS), round(cut.height, _DIGITS))
    space.reset_extents((0.0, 0.0, 0.0), (*corner, 0.0))
    space.reset_limits((0.0, 0.0), corner)
    taken = {"0", "defpoints"}
    for film in cut.films:
        _draw(space, _layer(doc, film, film.name, taken), film.path, cut.height, flattened)
        if film.knife is not None and len(film.knife):
            _draw(
                space, _layer(doc, film, f"{film.name} knife lines", taken), film.knife, cut.height, flattened
            )
    return _bytes(doc, corner)


def _layer(doc: Drawing, film: CutFilm, wanted: str, taken: set[str]) -> str:
    """Add a layer in the film's colour; return its name, which no other has in any case of letters."""
    plain = "".join("_" if c in _FORBIDDEN else c for c in printable(wanted)).strip()[: _LONGEST_NAME - 8]
    name, number = plain, 1
    while name.casefold() in taken:
        number += 1
        name = f"{plain} {number}"
    taken.add(name.casefold())
    doc.layers.add(name).rgb = film.rgb
    return name


def _draw(space: Modelspace, layer: str, path: Path, height: float, flattened: float | None) -> None:
    up = path.mapped((1.0, 0.0, 0.0, -1.0, 0.0, height))
    for index in range(len(up)):
        part = up.subpath(index)
        closed = bool(part.closed[0])
        if part.lines.all():
            nodes = np.concatenate((part.controls[:1, 0], part.controls[:, 3]))
            _polyline(space, layer, nodes, closed)
        elif flattened is not None:
            _polyline(space, layer, flatten([part], flattened).points, closed)
        else:
            _spline(space, layer, part.controls, closed)


def _polyline(space: Modelspace, layer: str, nodes: Floats, closed: bool) -> None:
    points = _distinct(nodes.round(_DIGITS) + 0.0)
    if closed and len(points) > 1 and points[0] == points[-1]:
        points.pop()
    space.add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})


def _distinct(nodes: Floats) -> list[tuple[float, float]]:
    """Return ``nodes`` without repeats of the one before."""
    points: list[tuple[float, float]] = []
    for x, y in nodes.tolist():
        if not points or points[-1] != (x, y):
            points.append((x, y))
    return points


def _spline(space: Modelspace, layer: str, controls: Floats, closed: bool) -> None:
    """Add cubics that follow one another as one B-spline: a knot of multiplicity 3 at each joint."""
    rounded = controls.round(_DIGITS) + 0.0
    nodes = np.concatenate((rounded[:1, 0], rounded[:, 1:].reshape(-1, 2)))
    if closed:
        nodes[-1] = nodes[0]
    spline = space.add_spline(degree=3, dxfattribs={"layer": layer})
    spline.dxf.flags = _PLANAR | (_CLOSED if closed else 0)
    spline.control_points = [(x, y, 0.0) for x, y in nodes.tolist()]
    spline.knots = list(_knots(len(controls)))


def _knots(segments: int) -> Iterator[float]:
    yield 0.0
    for joint in range(segments + 1):
        yield from (float(joint),) * 3
    yield float(segments)


def _bytes(doc: Drawing, corner: tuple[float, float]) -> bytes:
    """Return the drawing's text, with fixed values where the time and random ids would stand.

    ``corner`` is the drawing area's upper right one.
    """
    from ezdxf.lldxf.tagwriter import TagWriter  # noqa: PLC0415

    # What Drawing.write does, with the times and ids put right between updating and writing: the
    # library's own switch for that is global.
    doc.commit_pending_changes()
    doc.classes.add_required_classes(doc.dxfversion)
    doc.update_all()
    # Updating passes over extents that begin at 0, 0, 0.
    doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (0.0, 0.0, 0.0), (*corner, 0.0)
    for variable in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        doc.header[variable] = _NOWHEN
    doc.header["$VERSIONGUID"] = _NO_ID
    doc.header["$FINGERPRINTGUID"] = _NO_ID
    marks = doc.ezdxf_metadata()
    for mark in ("CREATED_BY_EZDXF", "WRITTEN_BY_EZDXF"):
        marks.discard(mark)
    stream = io.StringIO()
    doc.export_sections(TagWriter(stream, write_handles=True, dxfversion=doc.dxfversion))
    return doc.encode(stream.getvalue())
