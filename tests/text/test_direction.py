"""Order of text that runs both ways, joined letters, and vertical text."""

from __future__ import annotations

import pytest
from bidi import get_display
from hypothesis import given, settings
from hypothesis import strategies as st

from preflight.text import FontSource, Trouble
from preflight.text.direction import levels, scripts, visual_order
from preflight.text.layout import lay_out
from preflight.text.problems import Problems
from preflight.text.upright import Stand, stand
from tests.text.support import block, outlined, sans, source
from tests.text.test_fonts import square


# UAX 9, the levels that rules P2 to L2 give to the letters of small texts (worked by hand).
@pytest.mark.parametrize(
    ("text", "rtl", "expected"),
    [
        ("abc", False, [0, 0, 0]),
        ("abc", True, [2, 2, 2]),
        ("אב a", False, [1, 1, 0, 0]),
        ("אב a", True, [1, 1, 1, 2]),
        ("a אב 12 ג b", False, [0, 0, 1, 1, 1, 2, 2, 1, 1, 0, 0]),
        ("אב ", False, [1, 1, 0]),
        ("قرأ 3", False, [1, 1, 1, 1, 2]),
    ],
)
def test_levels(text: str, rtl: bool, expected: list[int]) -> None:
    assert levels(text, rtl=rtl) == expected


@settings(max_examples=300)
@given(st.text(alphabet="ab אבג 12 +,.!()قر", max_size=16), st.booleans())
def test_orders_agree_with_the_complete_algorithm_or_are_given_up(text: str, rtl: bool) -> None:
    """The referee is the unicode-bidi crate, by way of python-bidi."""
    found = levels(text, rtl=rtl)
    if found is None:
        return
    shown = "".join(text[i] for i in visual_order(found))
    theirs = get_display(text, base_dir="R" if rtl else "L")
    mirrored = str.maketrans("()", "((")
    assert shown.translate(mirrored) == str(theirs).translate(mirrored)


def test_most_orders_are_certain() -> None:
    texts = ["אבג", "אבג abc", "abc אבג 12", "אבג, abc!", "(אבג)", "abc (אבג) def"]
    assert all(levels(text, rtl=False) is not None for text in texts)


def test_isolates_are_given_up() -> None:
    assert levels("a \u2067אב\u2069 b", rtl=False) is None


def hebrew() -> FontSource:
    return FontSource.of({"h.ttf": square("Boxes", wide=500, chars="abאבג .")})


def order(body: str) -> list[str]:
    """Return characters from left to right."""
    problems = Problems()
    laid = lay_out(block(body), hebrew(), problems)
    assert not problems.finished()[0]
    text = laid.shaper.text
    placed = sorted((c.x, text[c.start : c.end]) for c in laid.clusters())
    return [letters for _, letters in placed]


def test_letters_stand_in_visual_order() -> None:
    assert order('<text font-family="Boxes">a אבג b</text>') == ["a", " ", "ג", "ב", "א", " ", "b"]
    assert order('<text font-family="Boxes" direction="rtl">אב a</text>') == ["a", " ", "ב", "א"]


@pytest.mark.parametrize(
    ("attributes", "left"),
    [
        ('direction="rtl"', 100 - 120),
        ('direction="rtl" text-anchor="end"', 100),
        ('direction="rtl" text-anchor="middle"', 40),
        ("", 100),
        ('text-anchor="end"', 100 - 120),
    ],
)
def test_start_and_end_follow_the_direction(attributes: str, left: float) -> None:
    """SVG 2, 11.5, step 7; two letters of 60 units an em of 100."""
    laid = lay_out(
        block(f'<text font-family="Boxes" font-size="100" x="100" {attributes}>אב</text>'),
        hebrew(),
        Problems(),
    )
    assert min(c.x for c in laid.clusters()) == pytest.approx(left)


def test_single_letters_placed_in_words_that_run_left_are_told() -> None:
    made = outlined('<text font-family="Boxes" x="10 20 30">אבג</text>', hebrew())
    assert [p.kind for p in made.problems] == [Trouble.NOT_LAID_OUT]
    lines = '<text font-family="Boxes">אב<tspan x="5" y="30">גא</tspan></text>'
    assert outlined(lines, hebrew()).outlined


def test_scripts() -> None:
    """UAX 24: common characters take the script of their neighbours."""
    assert scripts("a 1א!") == ["Latn", "Latn", "Latn", "Hebr", "Hebr"]
    assert scripts("1 a") == ["Latn"] * 3
    assert scripts("12") == ["Latn"] * 2


# UAX 50, Vertical_Orientation: ideographs and kana stand, Latin lies, brackets turn by the font.
@pytest.mark.parametrize(
    ("letter", "expected"),
    [
        ("本", Stand.UPRIGHT),
        ("あ", Stand.UPRIGHT),
        ("、", Stand.UPRIGHT),
        ("Ａ", Stand.UPRIGHT),
        ("a", Stand.SIDEWAYS),
        ("é", Stand.SIDEWAYS),
        ("א", Stand.SIDEWAYS),
        ("ｱ", Stand.SIDEWAYS),
        ("–", Stand.SIDEWAYS),
        ("「", Stand.EITHER),
        ("ー", Stand.EITHER),
        ("©", Stand.UNKNOWN),
        ("→", Stand.UNKNOWN),
    ],
)
def test_vertical_orientation(letter: str, expected: Stand) -> None:
    assert stand(letter, "mixed") is expected


def test_text_on_its_side() -> None:
    """CSS Writing Modes 4, 4.2: sideways text has its central baseline on the line."""
    made = outlined(
        '<text font-family="Boxes" font-size="100" x="80" y="10" writing-mode="tb">ab</text>', hebrew()
    )
    whole = made.shapes[0].path
    # Boxes are 500 high over a baseline; ascent 800 and descent 200 put the centre at 300.
    assert whole.bounds() == pytest.approx((80 - 30, 10, 80 + 20, 10 + 60 + 50))


def test_standing_text() -> None:
    """Without vertical measures HarfBuzz centres each letter in a square of an em, which is told."""
    fonts = FontSource.of({"k.ttf": square("Kanji", wide=500, chars="日本")})
    made = outlined(
        '<text font-family="Kanji" font-size="100" x="80" y="10" writing-mode="tb">日本</text>', fonts
    )
    boxes = [made.shapes[0].path.subpath(i).bounds() for i in range(2)]
    # The em of a letter is 600 wide, 500 of it inked from the left: its middle is on the line.
    assert [b[0] for b in boxes] == pytest.approx([80 - 30] * 2, abs=0.5)
    assert boxes[0][1] == pytest.approx(10 + 25, abs=0.5)
    assert boxes[1][1] - boxes[0][1] == pytest.approx(100, abs=0.5)
    assert [p.kind for p in made.problems] == [Trouble.APPROXIMATE]


def test_words_are_joined_across_colours() -> None:
    made = outlined(
        '<text font-family="Source Sans Pro" font-size="24" y="50">of<tspan fill="red">fice</tspan></text>',
        source(sans()),
    )
    assert made.outlined
