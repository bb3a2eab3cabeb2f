"""Each panel as artwork that is ready to cut: its contours with laps, its marks, and the proof of all panels."""

from __future__ import annotations

from dataclasses import dataclass, replace

from preflight.artwork import Artwork, Origin, Shape, SizeBasis
from preflight.colour import plain_colour
from preflight.curves import IDENTITY, Floats, Matrix, Path
from preflight.errors import PreflightError, quoted
from preflight.job import Job, Role, Size
from preflight.repair import Repaired, Steps, repair
from preflight.roll.panels.build import Panelled, Planned
from preflight.roll.panels.clipping import clipped_lines
from preflight.roll.panels.contours import Contours
from preflight.roll.panels.marks import cross
from preflight.roll.panels.model import Panel, PanelPlan, PanelProof
from preflight.roll.panels.proof import Piece, prove
from preflight.roll.panels.ways import Way
from preflight.writers.model import CutFile, CutFilm
from preflight.writers.production import claim

MARKS = "Registration marks"
"""Layer of the marks in a panel's artwork."""
_SWAPPED: Matrix = (0.0, 1.0, 1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class PanelCut:
    """One panel, ready to cut. Places mm in its own file, which lies as it goes on the roll."""

    panel: Panel
    artwork: Artwork
    """One shape for the film, one for each mark, and knife lines; check it with `FilmCut.job`."""
    file: CutFile
    """The same for the writers; the marks are contours of the film, since they are cut with it."""


@dataclass(frozen=True, eq=False)
class FilmCut:
    """All panels of one film, and the proof that together they are the film."""

    planned: Planned
    panels: tuple[PanelCut, ...]
    """In the order in which they are put on."""
    job: Job
    """The job to check one panel with: this film alone, with nothing left to scale, mirror or turn."""
    proof: PanelProof
    mended: Repaired

    @property
    def proved(self) -> bool:
        """Whether the mend of the artwork and the parting of the film are both proved."""
        return self.proof.proved and self.mended.proof.proved


def cut_panels(panelled: Panelled, title: str = "") -> tuple[FilmCut, ...]:
    """Return the panels of every film that was judged; a film that fits whole is one panel without seams.

    The artwork is mended by `preflight.repair` first; curves are split at a seam, not flattened. Raises
    `PreflightError` where no film was judged.
    """
    judged = [(number, one) for number, one in enumerate(panelled.films, start=1) if one.way is not None]
    if not judged:
        raise PreflightError(
            "panels-empty",
            "No film was parted, so there is nothing to write.",
            "State the roll of each film in the job.",
        )
    job = panelled.analysis.job
    mended = repair(panelled.artwork, job, Steps(turn=False, outline_text=False))
    return tuple(_film_cut(planned, number, mended, job, title) for number, planned in judged)


def panel_job(job: Job, planned: Planned) -> Job:
    """Return the job to check one panel of a film with."""
    colour = plain_colour(planned.film.colour)
    knife = {key: role for key, role in job.colours.items() if role.role == "knife"}
    return job.model_copy(
        update={
            "size": Size(),
            "film": planned.film.spec,
            "films": {},
            "roll": planned.film.roll,
            "colours": knife | ({colour: Role(role="film")} if colour else {}),
            "layers": {key: role for key, role in job.layers.items() if role.role == "knife"},
            "polarity": "shapes",
            "drawn_as": "mirrored" if job.cut_mirrored else job.drawn_as,
        }
    )


@dataclass(frozen=True, eq=False)
class _Mended:
    """One film of the mended artwork, and the lines drawn for the knife that go with it, in (u, v)."""

    artwork: Artwork
    film: Shape
    knife: Path
    drawn: Shape | None
    """A shape that looks like the knife lines."""


def _mended(repaired: Repaired, number: int, film: str, swap: Matrix) -> _Mended:
    shapes = list(repaired.artwork.shapes())
    films = [shape for shape in shapes if shape.fill is not None]
    drawn = [shape for shape in shapes if shape.fill is None]
    own = next((shape for shape in films if shape.origin.path == f"/film[{number}]"), None)
    if own is None:
        raise PreflightError(
            "panels-differ",
            f"Mending leaves nothing of the film {quoted(film)}.",
            "Mend the artwork first, and part the mended file.",
        )
    if not drawn or len(films) > 1:  # which of several films they cut is not known; the plan's notes say so
        return _Mended(repaired.artwork, own, Path.empty(), None)
    knife = Path.joined([shape.path.mapped(shape.matrix).mapped(swap) for shape in drawn])
    return _Mended(repaired.artwork, own, knife, drawn[0])


def _film_cut(planned: Planned, number: int, mended: Repaired, job: Job, title: str) -> FilmCut:
    way, plan = planned.way, planned.plan
    assert way is not None, "only films that were judged are cut"
    swap = IDENTITY if way.run == "vertical" else _SWAPPED
    source = _mended(mended, number, plan.film, swap)
    path = source.film.path.mapped(source.film.matrix).mapped(swap)
    contours = Contours(path, way.across.widths, way.parting.seams)
    pieces = []
    for panel in sorted(plan.panels, key=lambda panel: panel.place):
        outline, wanted = contours.panel(panel.place - 1)
        marks = [mark for _, mark in _marks(planned, way, panel)]
        pieces.append(Piece(panel, outline, marks, wanted))
    proof = prove(planned, contours, pieces)
    file_claim = (
        claim(mended) if proof.proved else f"NOT PROVED: do not cut it as it is. {' '.join(proof.reasons)}"
    )
    cuts = []
    for piece in sorted(pieces, key=lambda piece: piece.panel.number):
        artwork = _artwork(planned, way, piece, source)
        cuts.append(PanelCut(piece.panel, artwork, _file(plan, piece, artwork, title, file_claim)))
    return FilmCut(planned, tuple(cuts), panel_job(job, planned), proof, mended)


def _marks(planned: Planned, way: Way, panel: Panel) -> list[tuple[int, Path]]:
    """Return the marks of a panel in (u, v), each with the number of its seam."""
    plan = planned.plan
    if plan.mark is None:
        return []
    return [
        (
            seam.number,
            cross(
                float(way.parting.seams[seam.number - 1]),
                mark.y_mm if way.run == "vertical" else mark.x_mm,
                plan.mark,
            ),
        )
        for seam in plan.seams
        if seam.number in (panel.place - 1, panel.place)
        for mark in seam.marks
    ]


def _strip(knife: Path, seams: Floats, place: int) -> Path:
    """Return what of the knife lines lies between a panel's seams; ``place`` counts from 1."""
    if place > 1:
        knife = clipped_lines(knife, 0, float(seams[place - 2]), "above")
    if place <= len(seams):
        knife = clipped_lines(knife, 0, float(seams[place - 1]), "below")
    return knife


def _artwork(planned: Planned, way: Way, piece: Piece, source: _Mended) -> Artwork:
    """Return a panel as artwork in its own file's places: turned clockwise where seams are horizontal."""
    u0, v0, u1, v1 = piece.frame
    vertical = way.run == "vertical"
    place: Matrix = (1.0, 0.0, 0.0, 1.0, -u0, -v0) if vertical else (-1.0, 0.0, 0.0, 1.0, u1, -v0)
    own = source.film
    name = own.origin.layer or planned.plan.film
    items: list[Shape] = []
    if len(piece.path):
        origin = Origin("path", "/film[1]", id=f"panel-{piece.panel.number}", layer=name)
        items.append(replace(own, path=piece.path.mapped(place), matrix=IDENTITY, origin=origin))
    for index, (seam, mark) in enumerate(_marks(planned, way, piece.panel), start=1):
        end = "before" if index % 2 else "after"
        origin = Origin("path", f"/mark[{index}]", id=f"mark-seam-{seam}-{end}", layer=MARKS)
        items.append(replace(own, path=mark.mapped(place), matrix=IDENTITY, origin=origin))
    lines = _strip(source.knife, way.parting.seams, piece.panel.place)
    if source.drawn is not None and len(lines):
        items.append(replace(source.drawn, path=lines.mapped(place), matrix=IDENTITY, clips=()))
    return replace(
        source.artwork,
        width=u1 - u0,
        height=v1 - v0,
        items=tuple(items),
        remarks=(),
        layers=(name, MARKS) if piece.marks else (name,),
        empty_layers=(),
        size_basis=SizeBasis.PHYSICAL,
    )


def _file(plan: PanelPlan, piece: Piece, artwork: Artwork, title: str, file_claim: str) -> CutFile:
    shapes = list(artwork.shapes())
    path = Path.joined([shape.path for shape in shapes if shape.fill is not None])
    knife = [shape.path for shape in shapes if shape.fill is None]
    film = CutFilm(plan.film, plan.colour, path, Path.joined(knife) if knife else None)
    number = f"panel {piece.panel.number} of {len(plan.panels)}"
    words = " · ".join(part for part in (title, plan.film, number if plan.seams else "") if part)
    return CutFile(artwork.width, artwork.height, (film,), title=words, claim=file_claim)
