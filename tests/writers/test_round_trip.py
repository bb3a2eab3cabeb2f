"""What is written for production passes the check that the artwork passed, with the same figures."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from preflight import Verdict, check, read
from preflight.writers import CutFile, write_pdf, write_svg
from tests.writers.cuts import ARTWORK, example


@pytest.mark.parametrize("write", [write_svg, write_pdf])
@pytest.mark.parametrize("name", ["gate-board", "van-door"])
def test_a_sound_sign_stays_sound(name: str, write: Callable[[CutFile], bytes]) -> None:
    before = check(read((ARTWORK / f"{name}.svg").read_bytes()))
    after = check(read(write(example(name))))
    assert before.verdict is after.verdict is Verdict.PASS
    for one, other in zip(before.measures.films, after.measures.films, strict=True):
        assert (one.colour, one.contours, one.nodes) == (other.colour, other.contours, other.nodes)
        assert other.cut_length_mm == pytest.approx(one.cut_length_mm, abs=0.2)
        assert other.area_mm2 == pytest.approx(one.area_mm2, abs=1.0)
    # The PDF holds every line twice, as artwork and as its cut; the knife goes along it once.
    assert after.measures.cut_length_mm == pytest.approx(before.measures.cut_length_mm, abs=0.2)
