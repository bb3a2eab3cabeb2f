"""The catalogue of rules."""

from __future__ import annotations

import difflib

from fastapi import APIRouter, Request, Response

from service import contract
from service.catalogue import Catalogue, Facts, RuleInfo
from service.problems import UNKNOWN_RULE, ProblemError

router = APIRouter(prefix="/v1/rules", tags=["rules"])

FRESH = "max-age=300"


@router.get("", operation_id="listRules", summary="List the rules", responses=contract.answers_catalogue())
async def list_rules(request: Request, response: Response) -> Catalogue:
    """Return every rule: what it finds, why that matters, how it is measured and what to do."""
    response.headers["Cache-Control"] = FRESH
    return _catalogue(request)


@router.get("/{code}", operation_id="getRule", summary="Explain one rule", responses=contract.answers_rule())
async def get_rule(code: str, request: Request, response: Response) -> RuleInfo:
    """Return one rule by its code, the `code` of a finding."""
    rules = {rule.code: rule for rule in _catalogue(request).rules}
    if code not in rules:
        near = difflib.get_close_matches(code[:60], rules, 1)
        hint = f" Did you mean “{near[0]}”?" if near else ""
        raise ProblemError(UNKNOWN_RULE, f"There is no rule “{code[:60]}”.{hint}")
    response.headers["Cache-Control"] = FRESH
    return rules[code]


def _catalogue(request: Request) -> Catalogue:
    facts: Facts = request.app.state.facts
    return facts.catalogue
