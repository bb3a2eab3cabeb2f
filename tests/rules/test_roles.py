"""Knife lines and guides: a line drawn on purpose is no defect, whichever rule looks at it.

That knife lines may be open, doubled and cross, and that guides are not cut at all, is common
practice, no source.
"""

from __future__ import annotations

import pytest

import preflight

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
LETTER = '<path fill="#c00000" d="M10 10h30v80h-30z"/>'

LINES = {
    "an open line": '<path d="M50 10L90 90"/>',
    "an open outline with a gap": '<path d="M50 10h30v30h-30v-28"/>',
    "the same line twice": '<path d="M50 10v70"/><path d="M50 10v70"/>',
    "two lines 0.03 mm apart": '<path d="M50 10v70"/><path d="M50.03 10v70"/>',
    "lines that cross": '<path d="M50 10L90 90M90 10L50 90"/>',
    "a line across the film": '<path d="M5 50h60"/>',
    "a ring inside the film": '<circle cx="25" cy="50" r="6"/>',
    "a line 0.2 mm beside the film": '<path d="M40.2 10v80"/>',
    "a hairline": '<path stroke-width="0.01" d="M50 10v70"/>',
    "a dashed line": '<path stroke-dasharray="3 2" d="M50 10v70"/>',
    "a line of two pieces that nearly meet": '<path d="M50 10v30M50 40.5v30"/>',
    "a sharp point": '<path d="M50 10l40 1l-40 1"/>',
}


def findings(body: str, job: str) -> list[tuple[str, str]]:
    report = preflight.check(preflight.read(f"{HEAD}{body}</svg>".encode()), preflight.Job.parse(job, "toml"))
    return [(finding.code, finding.case) for finding in report.findings]


def stroked(lines: str, more: str = "") -> str:
    return f'<g fill="none" stroke="#00c8ff" stroke-width="0.5" {more}>{lines}</g>'


@pytest.mark.parametrize("role", ["knife", "guide"])
@pytest.mark.parametrize("name", LINES)
def test_a_colour_that_is_a_knife_line_or_a_guide(name: str, role: str) -> None:
    body = LETTER + stroked(LINES[name])
    assert findings(body, f'colours."#00c8ff" = "{role}"') == []
    # The same drawing without the role is full of faults: the test can fail.
    assert findings(body, "") != []


@pytest.mark.parametrize("role", ["knife", "guide"])
@pytest.mark.parametrize("name", LINES)
def test_a_layer_goes_before_the_colour(name: str, role: str) -> None:
    layer = (
        'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" inkscape:groupmode="layer" '
        'inkscape:label="Weeding help"'
    )
    body = LETTER + stroked(LINES[name], layer)
    job = f'layers."Weeding help" = "{role}"\ncolours."#00c8ff" = "film"'
    assert findings(body, job) == []


FILLS = {
    "a copy of the film's shape": '<path d="M10 10h30v80h-30z"/>',
    "a thin strip": '<path d="M50 10h40v0.3h-40z"/>',
    "two shapes that cross": '<path d="M50 10h20v20h-20z"/><path d="M60 20h20v20h-20z"/>',
    "a half transparent note": '<path opacity="0.5" d="M50 10h40v10h-40z"/>',
    "an open outline": '<path d="M50 10h20v20h-20v-15"/>',
    "a clipped note": '<clipPath id="c"><path d="M50 10h5v5h-5z"/></clipPath>'
    '<path clip-path="url(#c)" d="M50 10h9v9h-9z"/>',
}


@pytest.mark.parametrize("name", FILLS)
def test_filled_guides_are_notes_and_are_not_cut(name: str) -> None:
    body = LETTER + f'<g fill="#00c8ff">{FILLS[name]}</g>'
    assert findings(body, 'colours."#00c8ff" = "guide"') == []
    assert findings(body, "") != []


def test_a_knife_line_does_not_excuse_the_film_beside_it() -> None:
    body = LETTER + '<path fill="#c00000" d="M30 20h30v10h-30z"/>' + stroked('<path d="M70 10v70"/>')
    assert findings(body, 'colours."#00c8ff" = "knife"') == [("overlapping-subpaths", "shapes-cross")]
