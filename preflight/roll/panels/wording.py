"""The panels' sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from preflight.analysis import Analysis
from preflight.errors import quoted
from preflight.films import Film
from preflight.job import Roll
from preflight.roll.panels.model import Panel, PanelPlan, Seam, StackedSeams, Verdict
from preflight.roll.panels.options import Seams
from preflight.roll.plain import length
from preflight.units import Unit, format_length


def whole_words(across: float, roll: Roll, *, turned: bool) -> str:
    """Return the sentence for a film that needs no panels."""
    how = ", turned a quarter" if turned else ""
    return (
        f"Fits in one piece: {length(across)} across with the weed border{how}, in {length(roll.usable_width)} "
        "of usable width."
    )


def panels_words(count: int, seams: Seams, cuts: int, through: int) -> str:
    """Return the sentence for a film in panels."""
    run = "side by side" if seams == "vertical" else "one above the other"
    if through == 0:
        where = "no seam goes through film"
    elif cuts:
        where = (
            f"{_count(through, 'seam')} through film; {_count(cuts, 'cut')} through parts that would fit on one panel, "
            "because no seam without can be had"
        )
    else:
        where = f"{_count(through, 'seam')} through film, none through a part that could stay whole"
    return f"{count} panels {run}: {where}."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("s" if number != 1 else "")


def seam_order(
    why: str,
    *,
    through: bool,
    first: int | None,
    on_top: int | None,
    gap: float | None,
    edge: str,
    bare: bool,
) -> str:
    """Return what goes first at one seam, and why; ``bare``: marks were asked for and it has none."""
    if not through:
        marks = " No marks: with room for them panels would be too wide. Place by measure." if bare else ""
        return f"Lies in a gap of {length(gap or 0)}: no film is cut, nothing laps, the order is of no matter.{marks}"
    if first is None:
        return why
    if on_top is None:
        return f"Panel {first} goes on first. The edges meet: nothing laps."
    return f"Panel {first} goes on first; the {edge} edge of panel {on_top} lies on top. {why}"


def seam_words(plan: PanelPlan, seam: Seam, unit: Unit = "mm") -> str:
    """Return where a seam is, what goes first there, what it cuts and where its marks are."""
    edge = "left" if plan.seams_run == "vertical" else "top"
    words = f"{length(seam.position_mm, unit)} from the {edge} edge. {seam.order}"
    if seam.lap_mm:
        words += f" Lap {length(seam.lap_mm, unit)}, half on each side of the seam."
    if seam.parts_total:
        more = f" and {seam.parts_total - 1} more" if seam.parts_total > 1 else ""
        named = ", ".join(seam.parts[0].shapes) or "a part"
        words += f" Goes through {length(seam.cut_mm, unit)} of film: {named}{more}."
    if seam.marks:
        spots = " and ".join(f"({length(m.x_mm, unit)}, {length(m.y_mm, unit)})" for m in seam.marks)
        words += f" Marks on the seam at {spots}."
    return words


def panel_words(panel: Panel, unit: Unit = "mm") -> str:
    """Return how large a panel is, on the sign and on the roll, and where the marks are in its file."""
    x0, y0, x1, y1 = panel.box
    turned = ", turned a quarter clockwise" if panel.turn_deg else ""
    words = (
        f"film {length(x1 - x0, unit)} by {length(y1 - y0, unit)}; on the roll {length(panel.across_mm, unit)} "
        f"across, {length(panel.along_mm, unit)} along{turned}"
    )
    if panel.marks:
        spots = "; ".join(f"{length(m.x_mm, unit)}, {length(m.y_mm, unit)}" for m in panel.marks)
        words += f". Marks in its file, from the left and the top: {spots}"
    return f"{words}."


def summary_of(verdict: Verdict, films: Sequence[PanelPlan]) -> str:
    """Return the plan in one sentence."""
    parted = [plan for plan in films if plan.verdict == "panels"]
    if verdict == "whole":
        return "Every film fits on its roll in one piece: no panels are needed."
    if verdict == "not-judged":
        names = ", ".join(quoted(plan.film) for plan in films if plan.verdict == "not-judged")
        return f"Not judged: {names} {'has' if len(films) == 1 else 'have'} no roll or nothing to cut."
    cut = sum(seam.parts_total for plan in parted for seam in plan.seams)
    seams = sum(len(plan.seams) for plan in parted)
    through = sum(seam.through_film for plan in parted for seam in plan.seams)
    gaps = "in a gap" if seams == 1 else "all of them in gaps"
    how = f"{gaps}: no letter and no other part is cut"
    if cut:
        many = "all" if through == seams else str(through)
        how = "which goes through film" if seams == 1 else f"{many} of them through film"
    if len(parted) == 1:
        return (
            f"{parted[0].film} is cut in {len(parted[0].panels)} panels with {_count(seams, 'seam')}, {how}."
        )
    total = sum(len(plan.panels) for plan in parted)
    return f"{len(parted)} films are cut in {total} panels with {_count(seams, 'seam')}, {how}."


def stacked_words(pair: StackedSeams) -> str:
    """Return the note on seams of two films that lie on each other."""
    lower, upper = pair.films
    return (
        f"Seam {pair.seams[1]} of {upper} lies {length(pair.apart_mm)} from seam {pair.seams[0]} of {lower}: laps on "
        "laps stand up and show. It could not be had farther away."
    )


def small_words(panel: int, count: int, least: float) -> str:
    """Return the note on pieces that a seam leaves too small on a panel."""
    what = "a piece" if count == 1 else f"{count} pieces"
    return (
        f"Panel {panel}: a seam leaves {what} smaller than {least:g} mm² there, which weeding may pull off. Look at it "
        "in the drawing, or let the seams run the other way."
    )


def film_notes(plan: PanelPlan, film: Film) -> Iterator[str]:
    """Yield what else an operator should know of one film's panels."""
    if plan.fits_length is False and plan.roll is not None:
        yield (
            f"The film takes {format_length(round(plan.film_length_mm or 0))} of roll with the lead, and "
            f"{format_length(round(plan.roll.length_mm or 0))} is left: the rest comes from another roll."
        )
    if plan.verdict != "panels":
        return
    through = any(seam.through_film for seam in plan.seams)
    yield "Cut all panels from one batch of film: colours differ a little between batches."
    if plan.directional:
        yield "The film has a direction, so no panel may be turned and all seams are vertical."
    if through and plan.lap_mm == 0:
        yield (
            f"In {plan.kind} film the edges meet at a seam: no lap shows, but a gap may open as the film shrinks. "
            "State seam_lap in the job for a lap."
        )
    if through and "narrow parts" in film.unjudged:
        yield "Thin parts could not be looked for, so seams may lie near some."
    if plan.mark is not None:
        yield (
            "The crosses are registration marks of standing film: lay the second panel’s crosses on the first one’s, "
            "then take all of them off."
        )


def sign_notes(analysis: Analysis, plans: Sequence[PanelPlan]) -> Iterator[str]:
    """Yield what else an operator should know of the whole sign."""
    if not analysis.size_stated:
        yield "The finished size is not stated, so the file’s own size was parted."
    if any(text.text.strip() for text in analysis.texts):
        yield "Some text could not be outlined and is not in any panel. Turn it into outlines first."
    if analysis.pictures:
        yield "Pictures cannot be cut and are in no panel."
    parted = [plan for plan in plans if plan.verdict == "panels"]
    if parted and analysis.job.surface == "second":
        yield (
            "It goes behind glass: places are as they are seen from the side it is put up on, and where panels lap, "
            "the one that goes on first is the one that shows."
        )
    if any(meaning.role == "knife" for meaning in analysis.meanings) and len(analysis.films) > 1:
        yield "Which film the knife lines cut is not known, so they are in no panel."
    if parted:
        yield "All seams are straight and run from edge to edge."
