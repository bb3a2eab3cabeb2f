"""The problem types: what a problem's ``type`` leads to."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict

from service import contract
from service.problems import NOT_FOUND, PROBLEMS, ProblemError, ProblemType

router = APIRouter(prefix="/problems", tags=["problems"])


class ProblemInfo(BaseModel):
    """A problem type, in words."""

    model_config = ConfigDict(frozen=True)

    type: str
    status: int
    title: str
    meaning: str
    advice: str


def _shown(kind: ProblemType) -> ProblemInfo:
    return ProblemInfo(
        type=kind.uri, status=kind.status, title=kind.title, meaning=kind.meaning, advice=kind.advice
    )


BY_SLUG = {kind.slug: _shown(kind) for kind in PROBLEMS}


@router.get(
    "/{slug}",
    operation_id="getProblemType",
    summary="Explain a problem type",
    responses=contract.answers_problem_type(),
)
async def get_problem_type(slug: str) -> ProblemInfo:
    """Return what the `type` of a problem means and what to do about it."""
    if slug not in BY_SLUG:
        raise ProblemError(NOT_FOUND, f"There is no problem type “{slug[:60]}”.")
    return BY_SLUG[slug]
