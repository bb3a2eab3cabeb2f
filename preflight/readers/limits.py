"""Limits on what one file may cost: checked before the work they guard, never after it."""

from __future__ import annotations

from dataclasses import dataclass

from preflight.errors import LimitError


@dataclass(frozen=True, slots=True)
class Limits:
    """What one file may hold. Every field is a count; every one raises `LimitError` when passed."""

    input_bytes: int = 25_000_000
    """Size of the file as it arrives, bytes."""
    decompressed_bytes: int = 64_000_000
    """Size after unpacking a gzip'd file, bytes."""
    nodes: int = 200_000
    """Elements in the file, and elements visited while drawing (instances count each time)."""
    nesting_depth: int = 256
    """Groups inside groups, instances included."""
    use_instances: int = 20_000
    """Copies made by ``use``, markers' contents not included."""
    selector_checks: int = 20_000_000
    """Selectors of the style sheets times elements they are tried on."""
    marker_vertices: int = 50_000
    """Markers drawn: markers times the vertices they stand on."""
    dashes: int = 200_000
    """Dashes of all strokes together."""
    clip_depth: int = 32
    """Clips on clips on clips."""
    path_segments: int = 1_000_000
    """Segments of all paths together."""
    pdf_tokens: int = 10_000_000
    """Words of a PDF page's content, a form's counted each time it is drawn."""


_WORDS: dict[str, tuple[str, str]] = {
    "input_bytes": (
        "The file is {value:,} bytes; at most {allowed:,} are read.",
        "Remove embedded pictures and simplify the artwork, then save it again.",
    ),
    "decompressed_bytes": (
        "The compressed file unpacks to more than {allowed:,} bytes.",
        "Save it as an uncompressed SVG and remove embedded pictures.",
    ),
    "nodes": (
        "The artwork has more than {allowed:,} elements, repeated ones counted each time ({value:,} met).",
        "Split the artwork into several files, or unite small pieces.",
    ),
    "nesting_depth": (
        "Groups lie more than {allowed} deep inside one another.",
        "Ungroup the artwork and save it again.",
    ),
    "use_instances": (
        "The file makes more than {allowed:,} copies of symbols.",
        "Break the links to symbols, or split the artwork into several files.",
    ),
    "selector_checks": (
        "The style sheet's rules times the elements they are tried on is {value:,}; at most "
        "{allowed:,} are tried.",
        "Save the artwork with presentation attributes instead of a style sheet.",
    ),
    "marker_vertices": (
        "Line-end marks would be drawn {value:,} times; at most {allowed:,} are drawn.",
        "Remove the markers, or turn them into outlines.",
    ),
    "dashes": (
        "Dashed lines would make {value:,} dashes; at most {allowed:,} are made.",
        "Make the dashes longer, or turn the dashed lines into outlines.",
    ),
    "clip_depth": (
        "Clips lie more than {allowed} deep inside one another.",
        "Release the clips and save the artwork again.",
    ),
    "path_segments": (
        "The paths have {value:,} segments or more; at most {allowed:,} are read.",
        "Simplify the paths, or split the artwork into several files.",
    ),
    "pdf_tokens": (
        "The page's content has more than {allowed:,} words, repeated parts counted each time.",
        "Simplify the artwork, or split it into several files.",
    ),
}


def exceeded(limit: str, value: int, allowed: int) -> LimitError:
    """Return the error for ``limit`` (a field of `Limits`) met with ``value``."""
    what, advice = _WORDS[limit]
    message = what.format(value=value, allowed=allowed)
    return LimitError("limit-" + limit.replace("_", "-"), f"{message} (Limit {limit}: {allowed:,}.)", advice)


class Budget:
    """What one reading has used of its limits."""

    __slots__ = ("_used", "limits")

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self._used: dict[str, int] = {}

    def spend(self, limit: str, amount: int = 1) -> None:
        """Add ``amount`` to what was used of ``limit``; raises `LimitError` past the limit.

        ``measured``, elements visited for a bounding box only, has the limit of ``nodes``.
        """
        used = self._used.get(limit, 0) + amount
        self._used[limit] = used
        name = "nodes" if limit == "measured" else limit
        allowed: int = getattr(self.limits, name)
        if used > allowed:
            raise exceeded(name, used, allowed)

    def check(self, limit: str, value: int) -> None:
        """Raise `LimitError` where ``value`` passes ``limit``, without adding anything up."""
        allowed: int = getattr(self.limits, limit)
        if value > allowed:
            raise exceeded(limit, value, allowed)
