"""Which steps a repair takes. Each can be switched off; stock: what changes nothing that is seen."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Steps(BaseModel):
    """Switches of a repair."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    outline_text: Annotated[bool, Field(description="Turn text into outlines in the fonts given")] = True
    expand_strokes: Annotated[bool, Field(description="Turn strokes and dashes into areas with edges")] = True
    unite: Annotated[bool, Field(description="Unite overlaps, drop hidden and duplicate cuts")] = True
    knock_out: Annotated[bool, Field(description="Knock films out where the job's construction says so")] = (
        True
    )
    drop_specks: Annotated[
        float | None, Field(ge=0, description="Drop parts of less than this area, mm2; none: keep all")
    ] = None
    fit_curves: Annotated[bool, Field(description="Fit curves where nodes are excessive")] = True
    turn: Annotated[bool, Field(description="Turn a quarter where only that fits the roll")] = True
    mirror: Annotated[bool, Field(description="Mirror second-surface work that is drawn as read")] = True
