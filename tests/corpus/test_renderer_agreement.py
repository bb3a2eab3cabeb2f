"""The reader and the geometry against an independent renderer, category by category."""

from __future__ import annotations

import pytest

from tests.corpus.agreement import CORPUS, LEAST_GOOD, MOST_DISAGREED, SIGNS, SUITE, good, outcomes


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
