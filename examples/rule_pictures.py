"""A small picture for every rule's page: the rule's own first failing example, numbered by our own code.

``python -m examples.rule_pictures docs/rules/pictures`` writes them; the examples are the test data of
the rules, so that what a page shows is what the tests hold the rule to.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path

import preflight
from preflight.report.catalogue import write_folder
from preflight.report.picture import picture_svg

DATA = Path(__file__).resolve().parents[1] / "tests" / "rules" / "data"
WIDTH = 480


def picture(code: str) -> str:
    """Return the picture of the rule ``code``: its first failing example that has a place to show."""
    data = tomllib.loads((DATA / f"{code}.toml").read_text(encoding="utf-8"))
    shown: list[tuple[preflight.Artwork, preflight.Report]] = []
    for entry in data["fails"]:
        artwork = preflight.read(_document(entry["svg"]))
        report = preflight.check(artwork, preflight.Job.parse(entry.get("job", ""), "toml"))
        own = tuple(finding for finding in report.findings if finding.code == code)
        shown.append((artwork, report.model_copy(update={"findings": own})))
    best = next((one for one in shown if any(f.places for f in one[1].findings)), shown[0])
    return picture_svg(*best, width_px=WIDTH, words=False)


def _document(body: str) -> bytes:
    if body.lstrip().startswith("<svg"):
        return body.encode()
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="100mm" '
        f'height="100mm" viewBox="0 0 100 100">{body}</svg>'
    ).encode()


def pictures() -> dict[str, str]:
    """Return every picture by file name."""
    return {f"{rule.code}.svg": picture(rule.code) for rule in preflight.RULES}


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the pictures into a folder; those of rules that are gone are removed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    write_folder(parser.parse_args(arguments).folder, pictures(), "*.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main())
