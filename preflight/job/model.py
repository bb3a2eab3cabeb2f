"""The job: what the customer and the operator state about size, film, machine and meaning of colours.

Every setting has a stock value, so ``Job()`` is complete. Lengths are mm once read; in a job file
they may be written with any unit of `preflight.units`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from preflight.errors import JobError, quoted
from preflight.job.machine import Blade, MachineSpec
from preflight.job.mounting import Mounting, Temperature
from preflight.job.stock import FilmKind, Use, stock
from preflight.job.values import Colour, Quantity, read_colour, read_scale
from preflight.job.weeding import WeedingSpec
from preflight.report.model import Severity
from preflight.units import format_length

_STOCK = stock()
_PROPORTION_TOLERANCE = 0.01

Role_ = Literal["film", "substrate", "knife", "guide"]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
FindingKey = Annotated[
    str,
    StringConstraints(
        pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*(/[a-z][a-z0-9]*(-[a-z0-9]+)*)?$", max_length=100
    ),
]

_Finished = Annotated[float, Quantity("length", 0, 100_000, above=True)]
_FilmLength = Annotated[float, Quantity("length", 0, 1_000_000, above=True)]
_FilmWidth = Annotated[float, Quantity("length", 0, 10_000, above=True)]
_Edge = Annotated[float, Quantity("length", 0, 1000)]
_Detail = Annotated[float, Quantity("length", 0, 1000, above=True)]


class _Settings(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Size(_Settings):
    """The finished size: width, height or both (mm), or a scale on the file's own size."""

    width: Annotated[_Finished | None, Field(description="Finished width of the drawing area, mm")] = None
    height: Annotated[_Finished | None, Field(description="Finished height of the drawing area, mm")] = None
    scale: Annotated[
        Annotated[float, Quantity("number", 0, 10_000, above=True), BeforeValidator(read_scale)] | None,
        Field(description="Finished size over the size in the file; “1:10” is the same as 10"),
    ] = None

    @model_validator(mode="after")
    def _one_way(self) -> Size:
        if self.scale is not None and (self.width is not None or self.height is not None):
            raise PydanticCustomError(
                "scale_and_size", "state either the scale or the width and height, not both."
            )
        return self

    @property
    def stated(self) -> bool:
        """Whether the job says how large the work will be."""
        return not (self.width is None and self.height is None and self.scale is None)


class Roll(_Settings):
    """A roll of film on the machine; all mm."""

    width: Annotated[_FilmWidth, Field(description="Width of the roll")]
    margin: Annotated[_Edge, Field(description="Edge on each side that the rollers need")] = (
        _STOCK.roll.margin.value
    )
    length: Annotated[_FilmLength | None, Field(description="Length left on the roll; none: enough")] = None
    machine_width: Annotated[_FilmWidth | None, Field(description="The machine's cutting width")] = None
    weed_border: Annotated[_Edge, Field(description="Strip of waste around the cut, on each side")] = (
        _STOCK.roll.weed_border.value
    )
    lead: Annotated[_Edge, Field(description="Film between the sheet's edge and the first cut")] = (
        _STOCK.roll.lead.value
    )

    @property
    def usable_width(self) -> float:
        """The width in mm that the knife reaches: roll less margins, or the machine's width if less."""
        between_rollers = self.width - 2 * self.margin
        return between_rollers if self.machine_width is None else min(between_rollers, self.machine_width)

    @model_validator(mode="after")
    def _leaves_room(self) -> Roll:
        room = self.usable_width - 2 * self.weed_border
        if room <= 0:
            raise PydanticCustomError(
                "no_room",
                "{text}",
                {
                    "text": f"nothing is left to cut on: usable width {format_length(self.usable_width)} "
                    f"less two weed borders of {format_length(self.weed_border)}. "
                    "Lessen margin or weed_border."
                },
            )
        return self


class Limit(_Settings):
    """A minimum: below ``warning`` is a warning, below ``error`` an error (mm, areas mm2)."""

    warning: Annotated[float, Quantity("length", 0, 1000)]
    error: Annotated[float, Quantity("length", 0, 1000)]

    @model_validator(mode="after")
    def _ordered(self) -> Limit:
        _check_order(self.warning, self.error)
        return self


class AreaLimit(_Settings):
    """A minimum area: below ``warning`` is a warning, below ``error`` an error (mm2)."""

    warning: Annotated[float, Quantity("area", 0, 1_000_000)]
    error: Annotated[float, Quantity("area", 0, 1_000_000)]

    @model_validator(mode="after")
    def _ordered(self) -> AreaLimit:
        _check_order(self.warning, self.error)
        return self


def _check_order(warning: float, error: float) -> None:
    if warning < error:
        text = f"the warning limit {warning:g} must not be less than the error limit {error:g}."
        raise PydanticCustomError("limits_order", "{text}", {"text": text})


class Limits(_Settings):
    """Limits that replace the stock ones; what is left out comes from film kind, blade and use."""

    solid_part: Annotated[Limit | None, Field(description="Narrowest part of film that stays, mm")] = None
    gap: Annotated[Limit | None, Field(description="Narrowest gap between parts, mm")] = None
    island_area: Annotated[AreaLimit | None, Field(description="Smallest separate piece, mm2")] = None
    letter_height: Annotated[Limit | None, Field(description="Smallest capital height, mm")] = None
    hairline: Annotated[
        Annotated[float, Quantity("length", 0, 10)] | None,
        Field(description="A stroke narrower than this is a hairline, mm"),
    ] = None


class ResolvedLimits(_Settings):
    """The limits that hold for one film, all filled in. mm, areas mm2."""

    solid_part: Limit
    gap: Limit
    island_area: AreaLimit
    letter_height: Limit
    hairline: float


def _stock_thickness(known: dict[str, Any]) -> float:
    return _STOCK.film[known["kind"]].thickness


class FilmSpec(_Settings):
    """A film. ``thickness`` is mm; left out, it is the stock value of the kind."""

    kind: Annotated[FilmKind, Field(description="What the film is made for")] = "cast"
    thickness: Annotated[float, Quantity("length", 0, 5, above=True)] = Field(
        default_factory=_stock_thickness,
        description="Thickness without liner, mm; left out, the stock value of the kind",
    )
    directional: Annotated[bool, Field(description="Looks different when turned, so it must not be")] = False
    name: Annotated[Name | None, Field(description="What the shop calls it")] = None
    roll: Annotated[Roll | None, Field(description="The roll of this film; none: the job's roll")] = None
    price: Annotated[
        Annotated[float, Quantity("number", 0, 1_000_000)] | None,
        Field(description="Price of a square metre of roll, in the shop’s money; none: costs are not told"),
    ] = None
    pvc: Annotated[bool, Field(description="Made of PVC, which must never be cut by laser")] = True
    seam_lap: Annotated[
        Annotated[float, Quantity("length", 0, 100)] | None,
        Field(description="Lap of two panels where their seam crosses film; 0: they butt; none: by kind"),
    ] = None
    limits: Annotated[Limits, Field(description="Limits for this film alone")] = Limits()
    temperature: Annotated[
        Temperature | None, Field(description="When it may be applied, from its bulletin; none: not known")
    ] = None


def _role_table(value: object) -> object:
    # `"#ffffff" = "substrate"` is what people write first.
    return {"role": value} if isinstance(value, str) else value


class Role(_Settings):
    """What a colour or a layer stands for; ``film`` names one of the job's films."""

    role: Annotated[Role_, Field(description="What it stands for")]
    film: Annotated[Name | None, Field(description="A name in films; none: the job's film")] = None

    @model_validator(mode="after")
    def _film_only(self) -> Role:
        if self.film is not None and self.role != "film":
            raise PydanticCustomError(
                "film_of_other_role", "{text}", {"text": f"a {self.role} has no film. Leave film out."}
            )
        return self


class Tolerances(_Settings):
    """How near counts as the same; mm, and colours in steps of 255 in each channel."""

    flattening: Annotated[
        float, Quantity("length", 0.0001, 1), Field(description="Chord error when curves are measured, mm")
    ] = _STOCK.tolerances.flattening.value
    coincidence: Annotated[
        float, Quantity("length", 0, 1), Field(description="Lines nearer than this count as one cut, mm")
    ] = _STOCK.tolerances.coincidence.value
    join: Annotated[
        float, Quantity("length", 0, 50), Field(description="Line ends nearer than this count as one gap, mm")
    ] = _STOCK.tolerances.join.value
    colour: Annotated[
        float, Quantity("number", 0, 64), Field(description="Colours nearer than this may be one film, steps")
    ] = _STOCK.tolerances.colour.value


class Lettering(_Settings):
    """What lettering is compared with (nothing unless stated), and how the sign is read; mm."""

    standards: Annotated[
        tuple[Literal["accessible-signs", "legibility"], ...],
        Field(description="Sets of published values to compare lettering with; none: it is not judged"),
    ] = ()
    viewing_distance: Annotated[
        Annotated[float, Quantity("length", 0, 1_000_000, above=True)] | None,
        Field(description="Horizontal distance from which the sign must be read"),
    ] = None
    baseline_height: Annotated[
        Annotated[float, Quantity("length", 0, 1_000_000)] | None,
        Field(description="Height above floor or ground of the lowest line's baseline"),
    ] = None


def _normal_colours(value: object) -> object:
    if not isinstance(value, Mapping):
        return value
    seen: dict[str, object] = {}
    for key in value:
        try:
            colour = read_colour(key)
        except PydanticCustomError:
            continue  # The key's own validation reports it, with its place.
        if colour in seen:
            text = f"{quoted(seen[colour])} and {quoted(key)} are the same colour; keep one of them."
            raise PydanticCustomError("colour_twice", "{text}", {"text": text})
        seen[colour] = key
    return value


class Job(_Settings):
    """All settings of one job. ``Job()`` holds the stock values."""

    size: Size = Size()
    film: Annotated[FilmSpec, Field(description="The film of every colour that names no other")] = FilmSpec()
    films: Annotated[
        dict[Name, FilmSpec], Field(description="Named films; what one leaves out is taken from film")
    ] = {}
    blade: Blade = Blade()
    machine: MachineSpec = MachineSpec()
    use: Annotated[Use, Field(description="Where the work will be")] = "exterior"
    limits: Limits = Limits()
    roll: Annotated[Roll | None, Field(description="The roll of every film that states no other")] = None
    weeding: WeedingSpec = WeedingSpec()
    colours: Annotated[
        dict[Colour, Annotated[Role, BeforeValidator(_role_table)]],
        BeforeValidator(_normal_colours),
        Field(description="What each colour stands for"),
    ] = {}
    layers: Annotated[
        dict[Name, Annotated[Role, BeforeValidator(_role_table)]],
        Field(description="What each layer stands for; goes before the colour"),
    ] = {}
    substrate_colour: Annotated[
        Colour | None,
        Field(description="Colour of the sign's own surface; none: that of the one colour with this role"),
    ] = None
    polarity: Annotated[
        Literal["shapes", "surround"], Field(description="Whether the shapes stay, or what surrounds them")
    ] = "shapes"
    surface: Annotated[
        Literal["first", "second"], Field(description="Front of the substrate, or behind glass")
    ] = "first"
    drawn_as: Annotated[
        Literal["as-read", "mirrored"], Field(description="As a reader sees it, or mirrored already")
    ] = "as-read"
    construction: Annotated[
        Literal["layered", "knocked-out"], Field(description="Films on top of each other, or side by side")
    ] = "layered"
    underlap: Annotated[
        float, Quantity("length", 0, 50), Field(description="How far a lower film runs under an upper, mm")
    ] = _STOCK.underlap.value
    method: Annotated[Literal["cut", "print-and-cut"], Field(description="What the machine does")] = "cut"
    tolerances: Tolerances = Tolerances()
    lettering: Lettering = Lettering()
    mounting: Mounting = Mounting()
    severities: Annotated[
        dict[FindingKey, Literal["error", "warning", "note", "off"]],
        Field(description="Severity for a rule's code, or for one of its cases as code/case"),
    ] = {}

    @model_validator(mode="after")
    def _known_films(self) -> Job:
        from preflight.job.parse import suggestion  # noqa: PLC0415  (it imports this module)

        wrong = [
            f"{table}.{key}.film: there is no film {quoted(role.film)} in films."
            + suggestion(role.film, self.films)
            for table, roles in (("colours", self.colours), ("layers", self.layers))
            for key, role in roles.items()
            if role.film is not None and role.film not in self.films
        ]
        if wrong:
            raise PydanticCustomError("unknown_film", "{text}", {"text": "\n".join(wrong)})
        return self

    @property
    def cut_mirrored(self) -> bool:
        """Whether files are cut mirrored: the work goes behind glass and is drawn as it is read."""
        return self.surface == "second" and self.drawn_as == "as-read"

    @classmethod
    def parse(
        cls, data: bytes | str | Mapping[str, Any], format: Literal["json", "toml"] | None = None
    ) -> Job:
        """Return the job that ``data`` states: the text of a TOML or JSON file, or its table.

        Without ``format``, text that starts with ``{`` is read as JSON and all other as TOML.
        Raises `JobError`; its message has one line a problem, each with the setting's dotted path.
        """
        from preflight.job.parse import parse  # noqa: PLC0415  (it imports this module)

        return parse(data, format)

    def scale_for(self, artwork_width: float, artwork_height: float) -> float:
        """Return finished size over file size for a drawing area of this width and height in mm.

        1 where no size is stated. Width and height stated together must agree with the drawing's
        proportions within 1 %; the lesser scale is taken then, so that neither is exceeded. Raises
        `JobError` where they do not agree, or the drawing area has no size to scale from.
        """
        if self.size.scale is not None:
            return self.size.scale
        pairs = [(self.size.width, artwork_width), (self.size.height, artwork_height)]
        stated = [(finished, drawn) for finished, drawn in pairs if finished is not None]
        if any(drawn <= 0 for _, drawn in stated):
            raise JobError(
                "size-mismatch",
                "size: the drawing area has no width or no height, so no stated size can be reached.",
                "Give the drawing area a width and a height in the file, or state size.scale.",
            )
        scales = [finished / drawn for finished, drawn in stated]
        if not scales:
            return 1.0
        if max(scales) > min(scales) * (1 + _PROPORTION_TOLERANCE):
            raise self._mismatch(artwork_width, artwork_height)
        return min(scales)

    def _mismatch(self, width: float, height: float) -> JobError:
        stated_width, stated_height = self.size.width or 0.0, self.size.height or 0.0
        fitting = stated_width * height / width
        return JobError(
            "size-mismatch",
            f"size: {format_length(stated_width)} wide by {format_length(stated_height)} high does not have "
            f"the proportions of the drawing area, {format_length(width)} by {format_length(height)}.",
            f"State only one of them (with this width the height is {format_length(fitting)}), "
            "or change the file.",
        )

    def role_of(self, colour: str | None, layer: str | None = None) -> Role | None:
        """Return what is stated for a layer, else for a colour (``#rrggbb``); None: nothing is."""
        if layer is not None and (role := self.layers.get(layer.strip())) is not None:
            return role
        return self.colours.get(colour.lower()) if colour is not None else None

    @property
    def ground_colour(self) -> str | None:
        """The substrate's colour: as stated, else the one colour whose role is substrate; None: not known."""
        if self.substrate_colour is not None:
            return self.substrate_colour
        stated = [colour for colour, role in self.colours.items() if role.role == "substrate"]
        return stated[0] if len(stated) == 1 else None

    def film_for(self, colour: str | None, layer: str | None = None) -> FilmSpec:
        """Return the film that a colour or layer is cut from, with all that it leaves out filled in."""
        role = self.role_of(colour, layer)
        return self.film if role is None or role.film is None else self.named_film(role.film)

    def named_film(self, name: str) -> FilmSpec:
        """Return a film of ``films``; what it leaves out is the job film's, its name is the key.

        Thickness, temperature, price and seam lap of another kind of film are not taken over.
        Raises `KeyError`.
        """
        film = self.films[name]
        stated = {key: getattr(film, key) for key in film.model_fields_set}
        shared = {key: getattr(self.film, key) for key in self.film.model_fields_set}
        if stated.get("kind", self.film.kind) != self.film.kind:
            shared.pop("thickness", None)
            shared.pop("temperature", None)
            shared.pop("price", None)
            shared.pop("seam_lap", None)
        return FilmSpec(**{**shared, "name": name, **stated})

    def roll_for(self, film: FilmSpec) -> Roll | None:
        """Return the roll that a film is on; None: nobody stated one."""
        return film.roll or self.roll

    def limits_for(self, film: FilmSpec) -> ResolvedLimits:
        """Return the limits for a film: its own, else the job's, else stock by kind, blade and use."""
        kind, floor = _STOCK.film[film.kind], _STOCK.limits.blade_offsets
        offset = self.blade.offset
        stated = {
            key: value
            for limits in (self.limits, film.limits)
            for key in type(limits).model_fields
            if (value := getattr(limits, key)) is not None
        }
        taken = {
            "solid_part": _limit(getattr(kind.solid_part, self.use), floor.solid_part * offset),
            "gap": _limit(kind.gap, floor.gap * offset),
            "island_area": AreaLimit(warning=kind.island_area[0], error=kind.island_area[1]),
            "letter_height": _limit(getattr(kind.letter_height, self.use), 0.0),
            "hairline": _STOCK.limits.hairline.value,
        }
        return ResolvedLimits(**{**taken, **stated})

    def underlap_for(self, film: FilmSpec) -> float:
        """Return in mm how far ``film`` runs under an upper one; 0 for films whose edges meet.

        Translucent, metallic and reflective films butt unless the job itself states an underlap.
        """
        butts = film.kind in _STOCK.butting.kinds and "underlap" not in self.model_fields_set
        return 0.0 if butts else self.underlap

    def seam_lap_for(self, film: FilmSpec) -> float:
        """Return the lap in mm of two panels of ``film``: as stated, else by kind; 0: their edges meet."""
        return _STOCK.film[film.kind].seam_lap if film.seam_lap is None else film.seam_lap

    def severity_of(self, code: str, case: str, default: Severity) -> Severity | None:
        """Return the severity for a rule's case; None: it is switched off. The case goes first."""
        stated = self.severities.get(f"{code}/{case}") or self.severities.get(code)
        if stated is None:
            return default
        return None if stated == "off" else Severity(stated)

    def require_known_codes(self, cases: Mapping[str, Collection[str]]) -> None:
        """Raise `JobError` where ``severities`` names a code or case that is not in ``cases``."""
        from preflight.job.parse import unknown_codes  # noqa: PLC0415  (it imports this module)

        unknown_codes(self, cases)

    def stated(self, path: str) -> bool:
        """Return whether the job itself states the setting at a dotted path, rather than stock."""
        node: object = self
        for key in path.split("."):
            if isinstance(node, BaseModel):
                if key not in node.model_fields_set:
                    return False
                node = getattr(node, key)
            elif isinstance(node, Mapping) and key in node:
                node = node[key]
            else:
                return False
        return node is not None

    @property
    def sha256(self) -> str:
        """Hash of the settings with all stock values filled in, as lower-case hexadecimal."""
        films = {"": self.film, **{name: self.named_film(name) for name in self.films}}
        content = {
            "job": self.model_dump(mode="json"),
            "films": {
                name: {
                    "film": film.model_dump(mode="json"),
                    "limits": self.limits_for(film).model_dump(mode="json"),
                    "underlap": self.underlap_for(film),
                }
                for name, film in films.items()
            },
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()


def _limit(pair: tuple[float, float], floor: float) -> Limit:
    error = max(pair[1], floor)
    return Limit(warning=max(pair[0], error), error=error)
