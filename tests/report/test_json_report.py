"""The JSON report: valid, complete and the same bytes every time."""

from __future__ import annotations

import json
import math

import pytest

from preflight.report.json import to_json
from preflight.report.model import Report
from tests.report.sample_report import REPORT


def test_it_reads_back_as_the_same_report() -> None:
    assert Report.model_validate_json(to_json(REPORT)) == REPORT


def test_the_same_bytes() -> None:
    again = Report.model_validate_json(to_json(REPORT))
    assert to_json(again).encode() == to_json(REPORT).encode()


def test_characters_stay_readable_and_the_text_ends_its_line() -> None:
    text = to_json(REPORT)
    assert "“Plot 12”" in text
    assert text.endswith("}\n")


def test_keys_stand_in_the_models_order() -> None:
    assert list(json.loads(to_json(REPORT))) == list(Report.model_fields)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_number_that_json_has_no_word_for_is_refused(value: float) -> None:
    measures = REPORT.measures.model_copy(update={"width_mm": value})
    # RFC 8259, section 6: Infinity and NaN are not permitted.
    with pytest.raises(ValueError, match="not JSON compliant"):
        to_json(REPORT.model_copy(update={"measures": measures}))
