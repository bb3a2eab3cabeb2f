"""Live text becomes outlines, in fonts that came with the file, with the job, or from the operator."""

from __future__ import annotations

from dataclasses import dataclass, replace

from preflight.artwork import Artwork, Item, LiveText
from preflight.repair.model import Action
from preflight.text import FontSource, outline


@dataclass(frozen=True, eq=False)
class Lettered:
    """The artwork with its texts outlined, and why some are not."""

    artwork: Artwork
    actions: tuple[Action, ...]
    problems: tuple[str, ...]


def lettered(artwork: Artwork, fonts: FontSource) -> Lettered:
    """Return ``artwork`` with every visible text that can be outlined as shapes in its place."""
    items: list[Item] = []
    actions: list[Action] = []
    problems: dict[str, None] = {}
    for item in artwork.items:
        if not isinstance(item, LiveText) or item.hidden is not None:
            items.append(item)
            continue
        # A run of blanks is tried too: it may carry an underline.
        made = outline(item, fonts)
        if not item.text.strip():
            items.extend(made.shapes)
            continue
        quoted = f"“{' '.join(item.text.split())[:40]}”"
        if not made.outlined:
            items.append(item)
            for problem in made.problems:
                if problem.blocking:
                    problems[f"The text {quoted} is not outlined: {problem.message} {problem.advice}"] = None
            continue
        items.extend(made.shapes)
        used = "; ".join(
            f"{font.family}, {font.file}, {font.version or 'version not told'}" for font in made.fonts_used
        )
        notes = " ".join(problem.message for problem in made.problems)
        actions.append(
            Action(
                step="outline-text",
                what=f"The text {quoted} became outlines ({used}). {notes}".strip(),
                box=item.box,
                after=float(sum(len(shape.path.controls) for shape in made.shapes)),
                unit="nodes",
            )
        )
    return Lettered(replace(artwork, items=tuple(items)), tuple(actions), tuple(problems))
