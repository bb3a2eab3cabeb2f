from __future__ import annotations

import io
import math
import time

import numpy as np
import pytest
from ezdxf import path as dxf_paths
from ezdxf.document import Drawing
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.spline import Spline
from ezdxf.filemanagement import read

from preflight.errors import WriteError
from preflight.writers import CutFile, CutFilm, write_dxf
from tests.writers.cuts import MADE, assert_same_cut, generated, rectangle

WITHIN = 0.0015
"""mm: rounding to 0.1 um, ezdxf's flattening and the comparison's own."""


def opened(data: bytes) -> Drawing:
    return read(io.TextIOWrapper(io.BytesIO(data), encoding="utf-8"))


def contours(document: Drawing, layer: str, height: float) -> list[np.ndarray]:
    """Return what ezdxf makes of a layer's entities, in mm with y down."""
    return [points(entity) * (1, -1) + (0, height) for entity in on_layer(document, layer)]


def on_layer(document: Drawing, layer: str) -> list[Spline | LWPolyline]:
    found = [e for e in document.modelspace() if e.dxf.layer == layer]
    lines = [e for e in found if isinstance(e, Spline | LWPolyline)]
    assert len(lines) == len(found)
    return lines


def points(entity: Spline | LWPolyline) -> np.ndarray:
    if isinstance(entity, Spline):
        # By the B-spline itself, not by any conversion to Bezier curves.
        spline = entity.construction_tool()
        found = list(spline.flattening(0.0003, segments=16))
    else:
        found = list(dxf_paths.make_path(entity).flattening(0.0003))
    return np.array([(p.x, p.y) for p in found])


@pytest.mark.parametrize("flattened", [None, 0.01])
@pytest.mark.parametrize("name", MADE)
def test_another_reader_finds_the_same_cut(name: str, flattened: float | None) -> None:
    cut = MADE[name]()
    document = opened(write_dxf(cut, flattened=flattened))
    within = WITHIN + (flattened or 0)
    for film in cut.films:
        assert_same_cut(contours(document, film.name, cut.height), film.path, within)
        if film.knife is not None:
            lines = contours(document, f"{film.name} knife lines", cut.height)
            assert_same_cut(lines, film.knife, within, closed=False)


def test_the_drawing_is_sound_and_in_millimetres() -> None:
    """$INSUNITS 4 and $MEASUREMENT 1 are metric (DXF reference, header variables)."""
    document = opened(write_dxf(generated()))
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert tuple(document.header["$EXTMAX"])[:2] == (240, 150)
    custom = document.header.custom_vars
    assert custom.get("Title") == "Marrowby Lane & friends <trial>"
    assert custom.get("Description") == "Geometry only: test-cut first."


def test_layers_have_the_films_names_and_true_colours() -> None:
    document = opened(write_dxf(generated()))
    colours = {layer.dxf.name: layer.rgb for layer in document.layers if layer.dxf.hasattr("true_color")}
    assert {name: tuple(rgb) for name, rgb in colours.items() if rgb is not None} == {
        "Leaf green": (0x1F, 0x5B, 0x3A),
        "Leaf green knife lines": (0x1F, 0x5B, 0x3A),
        "Black": (0, 0, 0),
    }


def test_curves_are_closed_splines_that_pass_through_the_bezier_points() -> None:
    cut = generated()
    document = opened(write_dxf(cut))
    splines = [e for e in on_layer(document, "Leaf green") if isinstance(e, Spline)]
    assert len(splines) == 4
    for index, spline in enumerate(splines):
        part = cut.films[0].path.subpath(index)
        assert spline.dxf.degree == 3
        assert spline.closed
        assert len(spline.knots) == len(spline.control_points) + 4
        tool = spline.construction_tool()
        # De Boor's algorithm at a knot and between two: the Bezier curve at 0 and at 1/2.
        joints = np.array([(p.x, p.y) for p in tool.points(range(len(part.controls)))])
        assert np.abs(joints * (1, -1) + (0, cut.height) - part.controls[:, 0]).max() < 1e-4
        middles = np.array([(p.x, p.y) for p in tool.points(np.arange(len(part.controls)) + 0.5)])
        meant = part.controls.transpose(0, 2, 1) @ (np.array([1, 3, 3, 1]) / 8)
        assert np.abs(middles * (1, -1) + (0, cut.height) - meant).max() < 1e-4


def test_straight_contours_and_flattened_ones_are_closed_polylines() -> None:
    document = opened(write_dxf(generated()))
    (frame, hole) = on_layer(document, "Black")
    assert isinstance(frame, LWPolyline)
    assert isinstance(hole, LWPolyline)
    assert (frame.closed, len(frame)) == (True, 4)
    assert math.isclose(hole.get_points()[0][1], 150 - 80)
    flat = opened(write_dxf(generated(), flattened=0.05))
    assert {e.dxftype() for e in flat.modelspace()} == {"LWPOLYLINE"}
    assert all(e.closed for e in on_layer(flat, "Leaf green"))
    assert not any(e.closed for e in on_layer(flat, "Leaf green knife lines"))


def test_names_that_dxf_does_not_allow_are_changed_and_stay_apart() -> None:
    names = ['Red <gloss> "5/3"', "Red _gloss_ _5_3_", "red *gloss* |5\\3|", "0", "Grün matt"]
    films = tuple(CutFilm(name, "#ff0000", rectangle(1, 1, 9, 9)) for name in names)
    document = opened(write_dxf(CutFile(10, 10, films)))
    found = [entity.dxf.layer for entity in document.modelspace()]
    assert found == ["Red _gloss_ _5_3_", "Red _gloss_ _5_3_ 2", "red _gloss_ _5_3_ 3", "0 2", "Grün matt"]
    assert not document.audit().errors


def test_same_cut_same_bytes_at_any_time(monkeypatch: pytest.MonkeyPatch) -> None:
    first = write_dxf(generated())
    for variable in (b"$TDCREATE", b"$TDUPDATE"):
        assert variable + b"\n 40\n2451544.5\n" in first
    assert b"WRITTEN_BY" not in first
    time.sleep(0.01)
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    assert write_dxf(generated()) == first


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_a_tolerance_that_is_none_is_an_error(bad: float) -> None:
    with pytest.raises(WriteError, match="flattened within"):
        write_dxf(generated(), flattened=bad)
