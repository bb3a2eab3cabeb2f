"""The rule catalogue as Markdown: one page a rule and an index, made from the rules themselves.

``python -m preflight.report.catalogue FOLDER`` writes it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from preflight.rules import RULES, Rule


def page(rule: Rule) -> str:
    """Return the page of one rule."""
    lines = [
        f"# {rule.title}",
        "",
        f"Code: `{rule.code}`",
        "",
        "## Why it matters",
        "",
        rule.why,
        "",
        "## How it looks",
        "",
        f"![{rule.title}: an example with the place marked](pictures/{rule.code}.svg)",
        "",
        "## How it is measured",
        "",
        rule.how_measured,
        "",
        "## What to do",
        "",
        rule.remedy,
        "",
        "Can be mended mechanically, without changing the look: " + ("yes." if rule.repairable else "no."),
        "",
        "## Cases",
        "",
        "| case | severity, where the job says nothing else |",
        "|---|---|",
        *(f"| `{case}` | {severity} |" for case, severity in rule.cases.items()),
    ]
    if rule.parameters:
        lines += [
            "",
            "## Settings of the job",
            "",
            "| setting | meaning | unit | source of the stock value |",
            "|---|---|---|---|",
            *(f"| `{p.name}` | {p.meaning} | {p.unit} | {p.source} |" for p in rule.parameters),
        ]
    return "\n".join(lines) + "\n"


def index(rules: Sequence[Rule]) -> str:
    """Return the index page."""
    rows = [
        f"| [`{rule.code}`]({rule.code}.md) | {rule.title} | {', '.join(dict.fromkeys(rule.cases.values()))} |"
        for rule in rules
    ]
    return (
        "\n".join(["# The rules", "", "| code | what is wrong | severities |", "|---|---|---|", *rows]) + "\n"
    )


def pages() -> dict[str, str]:
    """Return every page of the catalogue by file name."""
    return {"README.md": index(RULES), **{f"{rule.code}.md": page(rule) for rule in RULES}}


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the catalogue into a folder; pages of rules that are gone are removed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    write_folder(parser.parse_args(arguments).folder, pages(), "*.md")
    return 0


def write_folder(folder: Path, made: Mapping[str, str], pattern: str) -> None:
    """Write ``made`` (file name to text) into ``folder``; other files of the ``pattern`` are removed."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob(pattern):
        if old.name not in made:
            old.unlink()
    for name, text in made.items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
