"""What the reader tells of a text element's layout: lists, spans, paths, lengths, blanks."""

# ruff: noqa: E501  (a drawing is easier to read on one line)

from __future__ import annotations

import pytest

from preflight.artwork import LiveText, RemarkKind
from preflight.writing import Line, Slope, TextBlock
from tests.readers.drawing import drawn, remarks


def blocks(body: str) -> list[TextBlock]:
    """Return the blocks of a drawing's texts, each once."""
    found = {
        id(i.block): i.block for i in drawn(body).items if isinstance(i, LiveText) and i.block is not None
    }
    return list(found.values())


def block(body: str) -> TextBlock:
    (found,) = blocks(body)
    return found


def test_positions_of_inner_elements_override() -> None:
    """SVG 2, 11.5, step 3: an inner element's values come before those of the elements around it."""
    found = block('<text x="1 2 3 4 5 6" dy="7">ab<tspan x="30" rotate="10 20">cde</tspan>f</text>')
    assert found.text == "abcdef"
    assert found.x == (1, 2, 30, 4, 5, 6)
    assert found.y == (None,) * 6
    assert found.dy == (7, 0, 0, 0, 0, 0)
    # The last value of rotate goes for the rest of its element.
    assert found.rotate == (0, 0, 10, 20, 20, 0)
    assert found.chunks == frozenset(range(6))


def test_only_characters_that_are_left_are_counted() -> None:
    """SVG 2, 11.5, step 2: collapsed blanks and what is not displayed are not addressable."""
    found = block('<text x="100 200 300">\n  A\n  <tspan display="none">no</tspan>  B\n</text>')
    assert found.text == "A B"
    assert found.x == (100, 200, 300)


def test_lists_end_at_the_first_value_that_is_none() -> None:
    assert block('<text x="1 two 3" dx="1mm, 2em" font-size="10">abc</text>').x == (1, None, None)
    assert block('<text dx="1in, 2em" font-size="10">abc</text>').dx == (96, 20, 0)


def test_spans_share_a_block() -> None:
    artwork = drawn('<text>a<tspan fill="red">b</tspan></text><text>c</text>')
    texts = [i for i in artwork.items if isinstance(i, LiveText)]
    assert texts[0].block is texts[1].block
    assert texts[2].block is not texts[0].block
    assert [t.span for t in texts] == [0, 1, 0]
    assert [s.text for s in texts[0].block.spans] == ["a", "b"] if texts[0].block else False


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("<text>one\ntwo</text>", "one two"),
        ("<text> a <tspan> b </tspan> c </text>", "a b c"),
        ('<text xml:space="preserve"> a  b </text>', " a  b "),
        ('<text style="white-space:pre"> a  b </text>', " a  b "),
        ('<text>a <tspan xml:space="preserve"> b </tspan></text>', "a  b "),
        ('<text style="text-transform:uppercase">straße</text>', "STRASSE"),
    ],
)
def test_blanks(body: str, text: str) -> None:
    """CSS Text 3, 4.1.1, and SVG 2, 11.9 for xml:space."""
    assert block(body).text == text


def test_lengths_are_innermost_first() -> None:
    found = block(
        '<text textLength="50">ab<tspan textLength="20" lengthAdjust="spacingAndGlyphs">cd</tspan></text>'
    )
    assert [(s.start, s.end, s.length, s.glyphs) for s in found.lengths] == [
        (2, 4, 20, True),
        (0, 4, 50, False),
    ]


def test_a_text_path_starts_a_chunk_and_drops_what_lies_across() -> None:
    found = block(
        '<path id="p" d="M0 0H100V50" transform="translate(5 6)"/><text y="40">ab<textPath href="#p" startOffset="50%">cd</textPath>e</text>'
    )
    (path,) = found.paths
    assert path.path.controls[0, 0].tolist() == [5, 6]
    assert path.offset == pytest.approx(75)
    assert found.chunks == frozenset((0, 2))
    assert found.y[0] == 40
    assert [s.path for s in found.spans] == [None, 0, None]


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        ('<text><textPath href="#nowhere">a</textPath></text>', RemarkKind.MISSING_REFERENCE),
        ('<text><textPath href="far.svg#p">a</textPath></text>', RemarkKind.EXTERNAL_REFERENCE),
        ('<text><tref href="#nowhere"/></text>', RemarkKind.MISSING_REFERENCE),
        ('<text><tref href="far.svg#t"/></text>', RemarkKind.EXTERNAL_REFERENCE),
        (
            '<text><textPath path="M0 0H9">a<textPath path="M0 0H9">b</textPath></textPath></text>',
            RemarkKind.UNSUPPORTED,
        ),
    ],
)
def test_what_does_not_show_is_told(body: str, kind: RemarkKind) -> None:
    assert remarks(drawn(body), kind)


def test_a_box_around_text_is_rough() -> None:
    body = (
        '<clipPath id="c" clipPathUnits="objectBoundingBox"><circle cx="0.5" cy="0.5" r="0.4"/></clipPath>'
        '<g clip-path="url(#c)"><text>a</text></g>'
    )
    assert any("roughly" in remark.subject for remark in remarks(drawn(body), RemarkKind.UNSUPPORTED))
    assert not remarks(
        drawn(body.replace("<text>a</text>", '<rect width="9" height="9"/>')), RemarkKind.UNSUPPORTED
    )


# CSS Fonts 4, 2.2.1: bolder and lighter against the inherited weight.
@pytest.mark.parametrize(
    ("outer", "word", "weight"),
    [
        (100, "bolder", 400),
        (400, "bolder", 700),
        (600, "bolder", 900),
        (900, "bolder", 900),
        (100, "lighter", 100),
        (500, "lighter", 100),
        (700, "lighter", 400),
        (900, "lighter", 700),
    ],
)
def test_relative_weights(outer: int, word: str, weight: int) -> None:
    (span,) = block(f'<g font-weight="{outer}"><text font-weight="{word}">a</text></g>').spans
    assert span.font.weight == weight


def test_fonts_of_spans() -> None:
    found = block(
        '<text font-style="oblique 20deg" font-stretch="87.5%">a<tspan font-style="italic" font-size="150%">b</tspan></text>'
    )
    one, two = (span.font for span in found.spans)
    assert (one.slope, one.angle, one.stretch, one.size) == (Slope.OBLIQUE, 20, 87.5, 16)
    assert (two.slope, two.size) == (Slope.ITALIC, 24)


def test_lines_are_painted_by_the_element_that_declares_them() -> None:
    """SVG 2, 11.11; a group's lines are painted as the text element is."""
    found = block(
        '<g fill="red" text-decoration="line-through"><text fill="#00ff00">'
        '<tspan fill="#0000ff" style="text-decoration-line:underline">a</tspan></text></g>'
    )
    (span,) = found.spans
    assert [(d.line, d.fill.color if d.fill else None) for d in span.decorations] == [
        (Line.LINE_THROUGH, "#00ff00"),
        (Line.UNDERLINE, "#0000ff"),
    ]


def test_shifts_add_up() -> None:
    found = block(
        '<text font-size="10">a<tspan baseline-shift="20%">b<tspan baseline-shift="super">c</tspan></tspan></text>'
    )
    assert [[(s.keyword, s.length) for s in span.shifts] for span in found.spans] == [
        [],
        [("", 2)],
        [("", 2), ("super", 0)],
    ]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ("<text>a<altGlyph>b</altGlyph></text>", "altGlyph"),
        ('<font><font-face font-family="Drawn"/></font><text font-family="Drawn">a</text>', "drawn"),
        ('<path id="p" d="M0 0H9"/><text x="5"><textPath href="#p">a</textPath></text>', "along a path"),
        ('<text><textPath path="M0 0H9" method="stretch">a</textPath></text>', "stretch"),
        ('<text dominant-baseline="middle">a<tspan dominant-baseline="hanging">b</tspan></text>', "hanging"),
        ('<text style="white-space:pre">a\nb</text>', "line breaks"),
        ('<text text-decoration="underline wavy">a</text>', "wavy"),
        ('<text writing-mode="sideways-lr">a</text>', "sideways-lr"),
    ],
)
def test_troubles_are_named(body: str, word: str) -> None:
    assert any(word in trouble for trouble in block(body).troubles)


def test_faces() -> None:
    found = block(
        "<style>@font-face { font-family: 'Oak'; src: local(Oak Sans), url(data:font/ttf;base64,AAEC);"
        "font-weight: 300 600; font-style: italic; font-stretch: 75%; unicode-range: U+4?, U+100-1FF }</style>"
        '<text font-family="Oak">a</text>'
    )
    (face,) = found.faces
    assert face.family == "Oak"
    assert [(s.kind, s.name, s.data) for s in face.sources] == [
        ("local", "Oak Sans", b""),
        ("data", "", b"\0\1\2"),
    ]
    assert (face.weight, face.stretch, face.slope) == ((300, 600), (75, 75), Slope.ITALIC)
    assert face.ranges == ((0x40, 0x4F), (0x100, 0x1FF))
