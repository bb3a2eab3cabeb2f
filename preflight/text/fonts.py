"""Where fonts come from: the file itself, the job, the operator's folder. Never the host by accident."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import TypeVar
from weakref import WeakKeyDictionary

from preflight.errors import PreflightError
from preflight.text.cuts import Cut
from preflight.text.fontfile import FontError, FontFile, folded, load, load_path
from preflight.text.matching import Candidate, best
from preflight.writing import FontFace, FontWish

Made = TypeVar("Made")
SUFFIXES = frozenset((".ttf", ".otf", ".ttc", ".otc", ".woff", ".woff2"))


@dataclass(frozen=True, slots=True)
class Rejected:
    """A font that was given and cannot be used."""

    name: str
    why: str


@dataclass(eq=False)
class FontSource:
    """The fonts that text may be outlined with.

    It remembers fonts that it has opened and letters that it has drawn; what it answers does not
    depend on that.
    """

    fonts: tuple[FontFile, ...] = ()
    substitutes: Mapping[str, str] = field(default_factory=dict)
    """A family's name, folded, to the family that stands in for it: an operator's decision, above
    all for generic names such as ``sans-serif``. The empty name is for text that names none."""
    rejected: tuple[Rejected, ...] = ()
    _opened: WeakKeyDictionary[FontFace, tuple[FontFile | None, str]] = field(
        default_factory=WeakKeyDictionary, repr=False
    )
    _last: tuple[object, object] | None = field(default=None, repr=False)
    """The text element laid out last, and how: its runs come one after another."""
    _cuts: WeakKeyDictionary[FontFile, dict[object, Cut]] = field(
        default_factory=WeakKeyDictionary, repr=False
    )

    @classmethod
    def of(
        cls,
        files: Mapping[str, bytes] | None = None,
        folder: FilePath | None = None,
        substitutes: Mapping[str, str] | None = None,
    ) -> FontSource:
        """Return the fonts of ``files`` (name to bytes, given with a job) and of ``folder``.

        Fonts that come with a job are looked at before the folder's. A font that cannot be read is
        named in ``rejected``. Raises `PreflightError` where the folder does not exist.
        """
        fonts: list[FontFile] = []
        rejected: list[Rejected] = []
        for name, data in sorted((files or {}).items()):
            try:
                fonts += load(data, name, "job")
            except FontError as error:
                rejected.append(Rejected(name, error.message))
        if folder is not None:
            if not folder.is_dir():
                raise PreflightError(
                    "font-folder",
                    f"There is no folder of fonts at “{folder}”.",
                    "Give the path of a folder with TrueType or OpenType fonts.",
                )
            for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file()):
                try:
                    fonts += load_path(path, "folder")
                except FontError as error:
                    rejected.append(Rejected(path.name, error.message))
        names = {folded(name): family for name, family in (substitutes or {}).items()}
        return cls(tuple(fonts), names, tuple(rejected))

    def candidates(self, wish: FontWish, faces: tuple[FontFace, ...]) -> list[tuple[str, list[Candidate]]]:
        """Return for each family asked for, in order, the fonts that match best; empty lists too."""
        found = []
        for family in wish.families or ("",):
            own = self._embedded(folded(family), faces)
            if own:
                found.append((family, best(own, wish)))
                continue
            name = folded(self.substitutes.get(folded(family), family))
            given = [Candidate.of(font) for font in self.fonts if name in font.families]
            found.append((family, best(given, wish)[:1]))
        return found

    def _embedded(self, family: str, faces: tuple[FontFace, ...]) -> list[Candidate]:
        """Return the usable faces of the file that are called ``family``, later rules first."""
        found = []
        for face in reversed(faces):
            if folded(face.family) != family:
                continue
            font = self.opened(face)[0]
            if font is not None:
                stated = face.stated
                found.append(
                    Candidate(
                        font,
                        face.weight if "font-weight" in stated else font.weight,
                        face.stretch if "font-stretch" in stated else font.stretch,
                        frozenset((face.slope,)) if "font-style" in stated else font.slopes,
                        face.angles if "font-style" in stated else font.angles,
                        face.ranges,
                    )
                )
        return found

    def opened(self, face: FontFace) -> tuple[FontFile | None, str]:
        """Return the font of an @font-face rule, or None and why there is none."""
        known = self._opened.get(face)
        if known is None:
            known = self._open(face)
            self._opened[face] = known
        return known

    def _open(self, face: FontFace) -> tuple[FontFile | None, str]:
        why = "the rule names no font"
        for source in face.sources:
            if source.kind == "data":
                try:
                    return load(source.data, face.family, "artwork")[0], ""
                except FontError as error:
                    why = error.message
            elif source.kind == "local":
                name = folded(source.name)
                local = next((font for font in self.fonts if name in font.full_names), None)
                if local is not None:
                    return local, ""
                why = f"the font “{source.name}” was not given"
            else:
                why = f"its font lies outside the file ({source.name}) and is not fetched"
        return None, why

    def remembered(self, key: object, make: Callable[[], Made]) -> Made:
        """Return what ``make`` makes of ``key``, made once while ``key`` is asked for."""
        if self._last is None or self._last[0] is not key:
            self._last = (key, make())
        return self._last[1]  # type: ignore[return-value]  # whoever asks with one key makes one type

    def cut(self, candidate: Candidate, wish: FontWish, size: float) -> Cut:
        """Return the candidate's font with the variations asked for."""
        values = Cut.values(candidate, wish, size)
        known = self._cuts.setdefault(candidate.font, {})
        key = tuple(sorted(values.items()))
        if key not in known:
            known[key] = Cut(candidate.font, values)
        return known[key]
