"""The reader and the geometry against an independent renderer, category by category."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.corpus.agreement import (
    CORPUS,
    LEAST_GOOD,
    MOST_DISAGREED,
    SIGNS,
    SUITE,
    good,
    judge,
    outcomes,
    render,
)
from tests.corpus.random_drawings import drawing


@pytest.mark.corpus
@pytest.mark.parametrize("category", [*SUITE, *SIGNS])
def test_category_agrees(category: str) -> None:
    if not CORPUS.is_dir():
        pytest.skip("the shared corpus is not beside the project (../shared/corpus)")
    found = list(outcomes(category))
    assert found
    wrong = [f"{o.name}: {o.why}" for o in found if o.verdict in ("disagreed", "refused")]
    assert sum(o.verdict == "disagreed" for o in found) <= MOST_DISAGREED * len(found), wrong
    assert good(found) >= LEAST_GOOD, wrong


SEEDS = range(60)


def test_made_up_drawings_agree(tmp_path: Path) -> None:
    """Needs no corpus: seeded drawings, rendered by the judge in a process of its own."""
    paths = []
    for seed in SEEDS:
        path = tmp_path / f"{seed}.svg"
        path.write_bytes(drawing(seed))
        paths.append(path)
    pictures = render(paths, tmp_path)
    found = [judge(SIGNS[0], p, p.stem, png) for p, png in zip(paths, pictures, strict=True)]
    wrong = [f"{o.name}: {o.why}" for o in found if o.verdict != "agreed"]
    assert not wrong
