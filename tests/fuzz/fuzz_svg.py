"""Fuzzing the SVG reader: any bytes end in an Artwork or in a ReadError, without a warning.

Needs the extra ``fuzz``. Run from the project's root, for ten minutes:

    python -m tests.fuzz.fuzz_svg -max_total_time=600 -max_len=4096 build/fuzz-corpus

The folder is filled with the seeds of `tests.fuzz.seeds` where it is empty.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["preflight.readers"]):
    from preflight.artwork import Shape
    from preflight.errors import ReadError
    from preflight.readers import Limits, read

from tests.fuzz.seeds import fill

LIMITS = Limits(
    input_bytes=20_000,
    decompressed_bytes=100_000,
    nodes=2_000,
    use_instances=500,
    selector_checks=100_000,
    marker_vertices=500,
    dashes=5_000,
    path_segments=20_000,
)


def one_input(data: bytes) -> None:
    """Read ``data`` and look at what every reader promises."""
    try:
        artwork = read(data, limits=LIMITS)
    except ReadError as error:
        if not (error.message and error.advice):
            raise AssertionError("an error without words") from error
        return
    assert 0 < artwork.width < 1e8
    assert 0 < artwork.height < 1e8
    for item in artwork.items:
        if isinstance(item, Shape):
            bounds = item.path.mapped(item.matrix).bounds()
            assert all(abs(value) <= 1e7 for value in bounds), bounds
    assert read(data, limits=LIMITS).remarks == artwork.remarks


def main() -> None:
    """Run the fuzzer with the arguments given."""
    warnings.simplefilter("error")
    for argument in sys.argv[1:]:
        if not argument.startswith("-"):
            fill(Path(argument))
    atheris.Setup(sys.argv, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
