"""Basic shapes (SVG 2, chapter 10) and their geometry properties."""

from __future__ import annotations

import numpy as np
import pytest

from preflight.artwork import RemarkKind
from preflight.curves import evaluate
from tests.readers.drawing import box_px, drawn, only, remarks, shapes


# SVG 2, 10.2: an automatic radius takes the other's value; each is clamped to half its side alone.
@pytest.mark.parametrize(
    ("radii", "rx", "ry"),
    [
        ("", 0, 0),
        ('rx="10"', 10, 10),
        ('ry="10"', 10, 10),
        ('rx="10" ry="5"', 10, 5),
        ('rx="90"', 50, 30),
        ('rx="10" ry="50"', 10, 30),
        ('rx="0" ry="10"', 0, 0),
        ('rx="-1" ry="10"', 10, 10),
        ('rx="-1" ry="-1"', 0, 0),
        ('rx="auto" ry="7"', 7, 7),
        ('rx="10%" ry="10%"', 20, 10),
    ],
)
def test_rect_radii(radii: str, rx: float, ry: float) -> None:
    shape = only(drawn(f'<rect x="5" y="6" width="100" height="60" {radii}/>'))
    assert box_px(shape) == (5, 6, 105, 66)
    curved = shape.path.controls[~shape.path.lines]
    if not rx:
        assert not len(curved)
        return
    points = np.concatenate([curved[:, 0], curved[:, 3]])
    assert points[points[:, 1] == 6][:, 0].min() == pytest.approx(5 + rx)
    assert points[points[:, 0] == 5][:, 1].min() == pytest.approx(6 + ry)
    assert shape.path.closed.all()


def test_circle_is_round_and_clockwise_from_three_o_clock() -> None:
    """SVG 2, 10.3: the equivalent path starts at (cx + r, cy) and runs clockwise."""
    path = only(drawn('<circle cx="50" cy="50" r="40"/>')).path
    assert tuple(path.controls[0, 0].tolist()) == (90, 50)
    assert path.controls[1, 3].tolist() == pytest.approx([50, 90])
    at = np.linspace(0, 1, 11)
    for segment in path.controls:
        points = evaluate(np.repeat(segment[None], 11, axis=0), at)
        # A cubic of 45 degrees strays from its arc by less than 5e-6 of the radius.
        np.testing.assert_allclose(np.hypot(*(points - 50).T), 40, rtol=5e-6)


@pytest.mark.parametrize(
    ("element", "box"),
    [
        ('<ellipse cx="50" cy="40" rx="30" ry="20"/>', (20, 20, 80, 60)),
        ('<ellipse cx="50" cy="40" rx="30"/>', (20, 10, 80, 70)),
        ('<ellipse cx="50" cy="40" ry="20" rx="auto"/>', (30, 20, 70, 60)),
        ('<ellipse cx="25%" cy="50%" rx="10%" ry="10%"/>', (30, 40, 70, 60)),
        ('<circle r="10"/>', (-10, -10, 10, 10)),
        ('<line x2="50%" y2="100%" stroke="red"/>', (0, 0, 100, 100)),
        ('<polyline points="1,2 3,4 5 6"/>', (1, 2, 5, 6)),
        ('<polygon points="1,2,3,4,5,6,7"/>', (1, 2, 5, 6)),
        ('<polygon points="1,2 3,4 x 9 9"/>', (1, 2, 3, 4)),
        ('<rect style="x:10px;y:1em;width:50%;height:calc(1in - 6px)"/>', (10, 16, 110, 106)),
        ('<circle style="cx:50;cy:60px;r:5" cx="1" r="1"/>', (45, 55, 55, 65)),
        ("<path style='d:path(\"M1 2L3 4\")' d='M0 0L9 9'/>", (1, 2, 3, 4)),
        (
            '<rect x="1mm" y="1pt" width="1in" height="1pc"/>',
            (3.779527559, 1.333333333, 99.779527559, 17.333333333),
        ),
    ],
)
def test_boxes(element: str, box: tuple[float, ...]) -> None:
    assert box_px(only(drawn(element))) == pytest.approx(box)


@pytest.mark.parametrize(
    "element",
    [
        '<rect width="0" height="5"/>',
        '<rect width="-5" height="5"/>',
        '<rect width="5"/>',
        '<circle r="0"/>',
        '<circle r="-5"/>',
        '<ellipse rx="0" ry="5"/>',
        '<polygon points="1,2"/>',
        '<polyline points=""/>',
        '<path d=""/>',
        '<path d="none"/>',
        "<path/>",
    ],
)
def test_nothing_to_draw(element: str) -> None:
    assert shapes(drawn(element)) == []


def test_closing() -> None:
    assert only(drawn('<polygon points="0,0 9,0 9,9"/>')).path.closed.all()
    assert not only(drawn('<polyline points="0,0 9,0 9,9 0,0"/>')).path.closed.any()
    assert not only(drawn('<line x2="9" stroke="red"/>')).path.closed.any()
    repeated = only(drawn('<polygon points="0,0 9,0 9,9 0,0"/>')).path
    assert len(repeated.controls) == 3


def test_faults_are_told() -> None:
    assert "odd" in remarks(drawn('<polygon points="0,0 9,0 9"/>'), RemarkKind.PATH_ERROR)[0].subject
    broken = remarks(drawn('<path id="p" d="M0 0L9 9 L x"/>'), RemarkKind.PATH_ERROR)[0]
    assert broken.origin is not None
    assert broken.origin.id == "p"
    assert broken.box == pytest.approx((0, 0, 9 * 25.4 / 96, 9 * 25.4 / 96))
    assert remarks(drawn('<rect width="5furlong" height="5"/>'), RemarkKind.BAD_VALUE)


def test_origin() -> None:
    artwork = drawn('\n<g><path d="M0 0L1 1"/>\n<path id="b" d="M0 0L1 1"/></g>')
    origins = [shape.origin for shape in shapes(artwork)]
    assert [o.path for o in origins] == ["/svg/g[1]/path[1]", "/svg/g[1]/path[2]"]
    assert [o.line for o in origins] == [2, 3]
    assert [o.id for o in origins] == [None, "b"]


def test_shapes_without_paint_are_kept() -> None:
    shape = only(drawn('<path d="M0 0L9 9" fill="none"/>'))
    assert shape.fill is None
    assert shape.stroke is None
    assert shape.hidden is None
