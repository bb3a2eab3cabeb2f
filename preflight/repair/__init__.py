"""Mend what can be mended without changing the look, and prove the mend.

``repair`` resolves what the artwork shows into one set of true edges a film: strokes become areas,
clips and holes become edges, overlaps are united with their curves kept, hidden and duplicate cuts
are dropped. Then the comparison of picture and knife lines is made again (`preflight.repair.proof`).
What cannot be mended is named, and nothing is then called proved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from preflight.analysis import Analysis
from preflight.artwork import Artwork, LiveText, Origin, Paint, PaintKind, RemarkKind, Shape, SizeBasis
from preflight.curves import IDENTITY, Matrix, Path, flatten
from preflight.films import Film
from preflight.geometry.appearance import Part, polygonal, union
from preflight.geometry.curved import CurveError, combine
from preflight.geometry.fills import fill_regions
from preflight.job import Job
from preflight.repair.fewer_nodes import fitted
from preflight.repair.lettering import lettered
from preflight.repair.model import Action, Draft, FilmProof, Proof, Repaired
from preflight.repair.proof import film_proof, prove
from preflight.repair.resolve import cutters_of, outlines_of, polygon_path, shown_region
from preflight.repair.steps import Steps
from preflight.repair.uniting import United, edges_only, is_sound, unite
from preflight.roll.fit import fit_film
from preflight.text import FontSource

__all__ = ["Action", "FilmProof", "Proof", "Repaired", "Steps", "repair"]

FLATTENING = 0.0002
"""Chord error (mm) of everything a mend is measured with: a fiftieth of what the proof allows, since
where outlines cross at a low angle the spot of their crossing moves by many times the chord error."""


def repair(
    artwork: Artwork, job: Job | None = None, steps: Steps | None = None, *, fonts: FontSource | None = None
) -> Repaired:
    """Return ``artwork`` mended at its finished size, what was done, and the proof.

    The result has one shape a film, closed contours only, in the order in which the films are laid;
    knife lines are passed on as drawn, guides and hidden things are left out. ``fonts`` are those
    that text may be outlined with beside the fonts in the file itself; none: only those. Raises
    `JobError` where the job's size does not fit the artwork.
    """
    job, steps = job or Job(), steps or Steps()
    text_left: tuple[str, ...] = ()
    actions: list[Action] = []
    if steps.outline_text and any(isinstance(item, LiveText) for item in artwork.items):
        letters = lettered(artwork, fonts or FontSource())
        artwork, text_left = letters.artwork, letters.problems
        actions.extend(letters.actions)
    fine = job.tolerances.model_copy(update={"flattening": FLATTENING})
    analysis = Analysis(artwork, job.model_copy(update={"tolerances": fine}))
    drafts: list[Draft] = []
    proofs: list[FilmProof] = []
    regions: list[BaseGeometry] = []
    for position, film in enumerate(analysis.films):
        draft, region = _mended(analysis, film, analysis.films[:position], steps, actions)
        drafts.append(draft)
        regions.append(region)
    if steps.knock_out and job.construction == "knocked-out":
        regions = _knocked_out(analysis, drafts, regions, actions)
    proofs = [film_proof(d, region, FLATTENING) for d, region in zip(drafts, regions, strict=True)]
    matrix, width, height = _placed(analysis, steps, actions)
    mended = _artwork(analysis, drafts, matrix, width, height)
    left = [*text_left, *_unmended(analysis, steps, text_left)]
    proof = prove(analysis.artwork, mended, job, proofs, left, matrix=matrix)
    return Repaired(mended, tuple(actions), proof)


def _mended(
    analysis: Analysis, film: Film, lower: Sequence[Film], steps: Steps, actions: list[Action]
) -> tuple[Draft, BaseGeometry]:
    """Return one film's draft, and the region that it must have by the independent fill."""
    layers = [
        index
        for index in film.layers
        if steps.expand_strokes or analysis.painting.layers[index].part is Part.FILL
    ]
    cutters = cutters_of(analysis, film, lower)
    region = shown_region(analysis, layers, cutters)
    parts = outlines_of(analysis, film, layers, cutters, actions)
    nodes = sum(part.nodes for part in parts)
    _note_closed(analysis, film, actions)
    if steps.unite:
        result = unite(parts, region, FLATTENING)
        _note_united(film, result, actions)
    else:
        result = United(Path.joined([part.path for part in parts]), 0, 0, True)
    if steps.fit_curves:
        result = _with_fewer_nodes(film, result, region, actions)
    if steps.drop_specks:
        result, region = _without_specks(film, result, region, steps.drop_specks, actions)
    return Draft(film.key, film.name, film.colour, film.spec, result.path, nodes_before=nodes), region


def _note_closed(analysis: Analysis, film: Film, actions: list[Action]) -> None:
    contours = analysis.painting.contours
    for contour in film.contours.tolist():
        points = contours[contour]
        gap = float(shapely.Point(points[0]).distance(shapely.Point(points[-1])))
        if not contours.closed[contour] and len(points) > 2 and gap > 0:
            (x0, y0), (x1, y1) = points[0].tolist(), points[-1].tolist()
            origin = analysis.shapes[int(contours.path[contour])].origin
            actions.append(
                Action(
                    step="close-contours",
                    what=f"The gap in {origin.label} was closed with a straight line, as the screen fills it.",
                    film=film.name,
                    box=(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)),
                    before=round(gap, 3),
                    after=0.0,
                    unit="mm",
                )
            )


def _note_united(film: Film, result: United, actions: list[Action]) -> None:
    if result.united:
        how = (
            "" if result.curves else " The curve engine failed here: the outline has straight segments only."
        )
        actions.append(
            Action(
                step="unite",
                what=f"{result.united} overlapping shape(s) were united.{how}",
                film=film.name,
                after=float(len(result.path)),
                unit="contours",
            )
        )
    if result.dropped:
        actions.append(
            Action(
                step="drop-hidden",
                what=f"{result.dropped} outline(s) that are no edge of anything, or were there twice, were dropped.",
                film=film.name,
            )
        )


def _with_fewer_nodes(film: Film, result: United, region: BaseGeometry, actions: list[Action]) -> United:
    path, changed = fitted(result.path)
    if not changed or not is_sound(path, region, FLATTENING):
        return result
    actions.append(
        Action(
            step="fit-curves",
            what=f"{changed} outline(s) of many short segments became fitted curves.",
            film=film.name,
            before=float(len(result.path.controls)),
            after=float(len(path.controls)),
            unit="nodes",
        )
    )
    return replace(result, path=path)


def _without_specks(
    film: Film, result: United, region: BaseGeometry, least: float, actions: list[Action]
) -> tuple[United, BaseGeometry]:
    parts = shapely.get_parts(region)
    kept = union(part for part in parts if part.area >= least)
    own = shapely.get_parts(fill_regions(flatten([result.path], FLATTENING), [False])[0])
    path, dropped = edges_only(result.path, union(part for part in own if part.area >= least), FLATTENING)
    if path is None or not dropped:
        return result, region
    actions.append(
        Action(
            step="drop-specks",
            what=f"Parts smaller than {least:g} mm2 were dropped: this changes the look.",
            film=film.name,
            before=float(len(parts)),
            after=float(len(shapely.get_parts(kept))),
            unit="parts",
        )
    )
    return replace(result, path=path), kept


def _knocked_out(
    analysis: Analysis, drafts: list[Draft], regions: list[BaseGeometry], actions: list[Action]
) -> list[BaseGeometry]:
    """Take off each film what upper films cover, but for the underlap. Changes the drafts' paths."""
    result = list(regions)
    for index, draft in enumerate(drafts):
        upper = union(regions[index + 1 :])
        lap = analysis.job.underlap_for(draft.spec)
        cut = shapely.buffer(upper, -lap, quad_segs=16) if lap else upper
        target = polygonal(shapely.difference(regions[index], cut))
        if target.area >= regions[index].area - 1e-3:
            continue
        uppers = Path.joined([other.path for other in drafts[index + 1 :]]) if not lap else polygon_path(cut)
        try:
            path = combine(draft.path, uppers, "difference")
            path_ok = is_sound(path, target, FLATTENING)
        except CurveError:
            path_ok = False
        draft.path = path if path_ok else polygon_path(target)
        actions.append(
            Action(
                step="knock-out",
                what=f"What upper films cover was taken off, but for an underlap of {lap:g} mm.",
                film=draft.name,
                before=round(regions[index].area, 2),
                after=round(target.area, 2),
                unit="mm2",
            )
        )
        result[index] = target
    return result


def _placed(analysis: Analysis, steps: Steps, actions: list[Action]) -> tuple[Matrix, float, float]:
    """Return the map from the artwork as drawn to the file that is cut, and the file's width and height."""
    width, height = analysis.artwork.width, analysis.artwork.height
    job = analysis.job
    if steps.mirror and job.cut_mirrored:
        actions.append(
            Action(
                step="mirror",
                what="Mirrored, since it is applied behind glass and drawn as it is read. The film that the reader "
                "sees on top goes on the glass first.",
            )
        )
        return analysis.cut_matrix, width, height
    fits = [fit_film(film) for film in analysis.films]
    if steps.turn and any(fit.case == "turn-needed" for fit in fits):
        actions.append(Action(step="turn", what="Turned a quarter: only so does it fit the roll."))
        return (0.0, 1.0, -1.0, 0.0, height, 0.0), height, width
    return IDENTITY, width, height


def _artwork(analysis: Analysis, drafts: list[Draft], matrix: Matrix, width: float, height: float) -> Artwork:
    items: list[Shape] = []
    for number, draft in enumerate(drafts, start=1):
        if not len(draft.path):
            continue
        items.append(
            Shape(
                path=draft.path.mapped(matrix),
                matrix=IDENTITY,
                origin=Origin("path", f"/film[{number}]", layer=draft.name),
                fill=Paint(PaintKind.SOLID, draft.colour),
            )
        )
    for index, shape in enumerate(analysis.shapes):
        if index in _knife_shapes(analysis):
            items.append(
                replace(shape, path=shape.path.mapped(shape.matrix).mapped(matrix), matrix=IDENTITY, clips=())
            )
    return replace(
        analysis.artwork,
        width=width,
        height=height,
        items=tuple(items),
        remarks=(),
        layers=tuple(draft.name for draft in drafts),
        empty_layers=(),
        size_basis=SizeBasis.PHYSICAL,
    )


def _knife_shapes(analysis: Analysis) -> set[int]:
    pairs = zip(analysis.painting.layers, analysis.meanings, strict=True)
    return {layer.shape for layer, meaning in pairs if meaning.role == "knife"}


_EFFECTS = {
    RemarkKind.MASK: "a mask",
    RemarkKind.FILTER: "a filter",
    RemarkKind.BLEND: "a blend mode",
    RemarkKind.UNSUPPORTED: "something that was not understood",
    RemarkKind.PATH_ERROR: "damaged outline data",
}


def _unmended(analysis: Analysis, steps: Steps, told: Sequence[str]) -> list[str]:
    """Return why the artwork cannot be mended whole, whatever is done to its outlines."""
    texts = [text for text in analysis.texts if text.text.strip()]
    reasons = [] if told else [f"The text “{text.text.strip()[:40]}” is not outlined." for text in texts]
    reasons += ["A picture made of pixels has no outlines." for _ in analysis.pictures]
    for layer, meaning in zip(analysis.painting.layers, analysis.meanings, strict=True):
        origin = analysis.shapes[layer.shape].origin
        opacity = layer.paint.opacity * analysis.shapes[layer.shape].opacity
        if meaning.role in ("knife", "guide") or layer.region.is_empty:
            continue
        if layer.paint.kind is not PaintKind.SOLID:
            reasons.append(f"The {layer.part} of {origin.label} is a {layer.paint.kind}: no film has that.")
        elif opacity < 1:
            reasons.append(f"The {layer.part} of {origin.label} is see-through: no film is.")
    for remark in analysis.artwork.remarks:
        if remark.kind in _EFFECTS:
            where = f" at {remark.origin.label}" if remark.origin else ""
            reasons.append(
                f"The file has {_EFFECTS[remark.kind]}{where}: what it does to the look was not mended."
            )
    if not steps.expand_strokes and any(film.stroked for film in analysis.films):
        reasons.append("Strokes were left as they are.")
    if not analysis.films:
        reasons.append("There is nothing to cut.")
    return reasons
