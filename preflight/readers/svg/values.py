"""Values of attributes and properties: lengths, numbers, angles, colours, transforms, references."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import tinycss2
import tinycss2.color4

from preflight.curves import IDENTITY, Matrix, multiply

MM_PER_PX = 25.4 / 96
"""CSS Values and Units, absolute lengths: 1 in is 96 px and 25.4 mm."""

NUMBER = r"[+-]?+(?:[0-9]++\.?+[0-9]*+|\.[0-9]++)(?:[eE][+-]?+[0-9]++)?+"
# Every repeat is possessive: a hostile value must not make the matching take a square of its length.
_LENGTH = re.compile(rf"\s*+({NUMBER})\s*+([a-zA-Z]++|%)?+\s*+\Z")
_NUMBER = re.compile(rf"\s*+({NUMBER})\s*+\Z")
_NUMBERS = re.compile(NUMBER)
_ANGLE = re.compile(rf"\s*+({NUMBER})(deg|grad|rad|turn)?+\s*+\Z", re.IGNORECASE)

ABSOLUTE: dict[str, float] = {
    "": 1.0,
    "px": 1.0,
    "in": 96.0,
    "cm": 96 / 2.54,
    "mm": 96 / 25.4,
    "q": 96 / 101.6,
    "pt": 96 / 72,
    "pc": 16.0,
}
"""px in one of each absolute unit (CSS Values and Units 4, 6.2)."""

FONT_RELATIVE = ("em", "ex", "ch", "rem", "cap", "ic", "lh", "rlh", "rex", "rch", "ric", "rcap")


@dataclass(frozen=True, slots=True)
class Measure:
    """What relative lengths refer to, px."""

    font_size: float = 16.0
    root_font_size: float = 16.0
    width: float = 0.0
    """Width of the nearest viewport, for percentages."""
    height: float = 0.0
    window: tuple[float, float] = (0.0, 0.0)
    """The outermost viewport, for vw and vh."""

    def percent(self, axis: str) -> float:
        """Return what 100 % is along ``axis``: ``x``, ``y``, or ``o`` for any other (SVG 2, 8.9)."""
        if axis == "x":
            return self.width
        if axis == "y":
            return self.height
        return math.sqrt((self.width**2 + self.height**2) / 2)


@lru_cache(maxsize=4096)
def split_length(text: str) -> tuple[float, str] | None:
    """Return number and lower-case unit of a length or percentage; None where it is neither."""
    found = _LENGTH.match(text)
    if not found:
        return None
    value = float(found.group(1))
    unit = (found.group(2) or "").lower()
    if not math.isfinite(value):
        return None
    return value, unit


_RELATIVE_FACTORS = {"em": 1.0, "ex": 0.5, "ch": 0.5, "cap": 0.7, "ic": 1.0, "lh": 1.2}


def length(text: str, measure: Measure, axis: str) -> float | None:
    """Return a length in px; None where ``text`` is no length.

    ex and ch are taken as half an em, as CSS Values asks where the font's own measures are not
    known; cap and lh as 0.7 and 1.2 em.
    """
    parts = split_length(text)
    if parts is None:
        return _calc(text, measure, axis) if "(" in text else None
    value, unit = parts
    absolute = ABSOLUTE.get(unit)
    if absolute is not None:
        return value * absolute
    return _relative(value, unit, measure, axis)


def _relative(value: float, unit: str, measure: Measure, axis: str) -> float | None:
    if unit == "%":
        return value / 100 * measure.percent(axis)
    if unit in _RELATIVE_FACTORS:
        return value * _RELATIVE_FACTORS[unit] * measure.font_size
    if unit.startswith("r") and unit[1:] in _RELATIVE_FACTORS:
        return value * _RELATIVE_FACTORS[unit[1:]] * measure.root_font_size
    width, height = measure.window
    across = {
        "vw": width,
        "vh": height,
        "vi": width,
        "vb": height,
        "vmin": min(width, height),
        "vmax": max(width, height),
    }
    if unit in across:
        return value / 100 * across[unit]
    return None


def _calc(text: str, measure: Measure, axis: str) -> float | None:
    """Return a calc() sum of products (CSS Values and Units 4, 10.1) in px, None where malformed."""
    tokens = [t for t in tinycss2.parse_component_value_list(text.strip()) if t.type != "comment"]
    if len(tokens) != 1 or tokens[0].type != "function" or tokens[0].lower_name != "calc":
        return None
    try:
        value, is_length = _sum(tokens[0].arguments, measure, axis, 0)
    except (_CalcError, ZeroDivisionError):
        return None
    return value if math.isfinite(value) and (is_length or value == 0) else None


class _CalcError(Exception):
    pass


def _sum(tokens: list[Any], measure: Measure, axis: str, depth: int) -> tuple[float, bool]:
    terms: list[list[Any]] = [[]]
    signs = [1.0]
    for token in tokens:
        if token.type == "literal" and token.value in "+-":
            terms.append([])
            signs.append(1.0 if token.value == "+" else -1.0)
        elif token.type not in ("whitespace", "comment"):
            terms[-1].append(token)
    parts = [_product(term, measure, axis, depth) for term in terms]
    if len({is_length for _, is_length in parts}) != 1:
        raise _CalcError
    return sum(sign * value for sign, (value, _) in zip(signs, parts, strict=True)), parts[0][1]


def _product(tokens: list[Any], measure: Measure, axis: str, depth: int) -> tuple[float, bool]:
    if len(tokens) % 2 == 0:
        raise _CalcError
    value, is_length = _operand(tokens[0], measure, axis, depth)
    for operator, token in zip(tokens[1::2], tokens[2::2], strict=True):
        right, right_length = _operand(token, measure, axis, depth)
        if operator.type != "literal" or operator.value not in "*/" or (is_length and right_length):
            raise _CalcError
        if operator.value == "/":
            if right_length:
                raise _CalcError
            value /= right
        else:
            value, is_length = value * right, is_length or right_length
    return value, is_length


def _operand(token: Any, measure: Measure, axis: str, depth: int) -> tuple[float, bool]:
    if depth > 16:
        raise _CalcError
    if token.type == "number":
        return float(token.value), False
    if token.type in ("dimension", "percentage"):
        unit = "%" if token.type == "percentage" else token.lower_unit
        absolute = ABSOLUTE.get(unit)
        value = token.value * absolute if absolute else _relative(token.value, unit, measure, axis)
        if value is None:
            raise _CalcError
        return float(value), True
    if token.type == "() block":
        return _sum(token.content, measure, axis, depth + 1)
    if token.type == "function" and token.lower_name == "calc":
        return _sum(token.arguments, measure, axis, depth + 1)
    raise _CalcError


@lru_cache(maxsize=1024)
def number(text: str) -> float | None:
    """Return a finite number, None where ``text`` is none."""
    found = _NUMBER.match(text)
    if not found:
        return None
    value = float(found.group(1))
    return value if math.isfinite(value) else None


@lru_cache(maxsize=1024)
def alpha(text: str) -> float | None:
    """Return an opacity between 0 and 1 from a number or a percentage; None where it is neither."""
    parts = split_length(text)
    if parts is None or parts[1] not in ("", "%"):
        return None
    value = parts[0] / 100 if parts[1] else parts[0]
    return min(max(value, 0.0), 1.0)


@lru_cache(maxsize=256)
def angle(text: str) -> float | None:
    """Return an angle in degrees; a bare number is degrees. None where ``text`` is no angle."""
    found = _ANGLE.match(text)
    if not found:
        return None
    value = float(found.group(1))
    unit = (found.group(2) or "deg").lower()
    value *= {"deg": 1.0, "grad": 0.9, "rad": 180 / math.pi, "turn": 360.0}[unit]
    return value if math.isfinite(value) else None


@dataclass(frozen=True, slots=True)
class Color:
    """A colour: ``#rrggbb`` and alpha 0 to 1."""

    rgb: str
    alpha: float


@lru_cache(maxsize=4096)
def color(text: str) -> Color | None:
    """Return a CSS colour (CSS Color 4; other spaces are clipped to sRGB); None where it is none.

    ``currentColor`` is no colour here: it depends on where it stands.
    """
    value = text.strip()
    try:
        parsed = tinycss2.color4.parse_color(value)
    except (ValueError, TypeError, OverflowError):
        return None
    if parsed is None or isinstance(parsed, str):
        return None
    try:
        plain = parsed if parsed.space == "srgb" else parsed.to("srgb")
        channels = [min(max(c or 0.0, 0.0), 1.0) for c in plain.coordinates]
    except (NotImplementedError, ValueError, OverflowError):
        return None
    if not all(map(math.isfinite, channels)):
        return None
    # Half up, as CSS Color 4 asks for serialisation (section 15).
    rgb = "#" + "".join(f"{math.floor(c * 255 + 0.5):02x}" for c in channels)
    opacity = parsed.alpha if parsed.alpha is not None else 0.0
    return Color(rgb, min(max(float(opacity), 0.0), 1.0))


_TRANSFORM = re.compile(r"\s*+,?+\s*+(matrix|translate|scale|rotate|skewX|skewY)\s*+\(([^()]*+)\)\s*+,?+\s*+")
_COUNTS = {
    "matrix": (6,),
    "translate": (1, 2),
    "scale": (1, 2),
    "rotate": (1, 3),
    "skewX": (1,),
    "skewY": (1,),
}
_BETWEEN_NUMBERS = re.compile(r"[\s,]*+\Z")


@lru_cache(maxsize=2048)
def transform_attribute(text: str) -> Matrix | None:
    """Return the matrix of a transform attribute (SVG 1.1, 7.6 grammar); None where malformed."""
    matrix = IDENTITY
    at = 0
    if text.strip() in ("", "none"):
        return IDENTITY
    while at < len(text):
        found = _TRANSFORM.match(text, at)
        if not found:
            return None
        name, body = found.groups()
        values = [float(v) for v in _NUMBERS.findall(body)]
        rest = _NUMBERS.sub("", body)
        if len(values) not in _COUNTS[name] or not _BETWEEN_NUMBERS.match(rest):
            return None
        if not all(map(math.isfinite, values)):
            return None
        matrix = multiply(matrix, function_matrix(name, values))
        at = found.end()
    return matrix if all(map(math.isfinite, matrix)) else None


def function_matrix(name: str, v: list[float]) -> Matrix:
    """Return the matrix of one transform function; lengths are user units, angles degrees."""
    if name == "matrix":
        return (v[0], v[1], v[2], v[3], v[4], v[5])
    if name == "translate":
        return (1.0, 0.0, 0.0, 1.0, v[0], v[1] if len(v) > 1 else 0.0)
    if name == "scale":
        return (v[0], 0.0, 0.0, v[1] if len(v) > 1 else v[0], 0.0, 0.0)
    if name == "rotate":
        cos, sin = cos_sin(v[0])
        turn: Matrix = (cos, sin, -sin, cos, 0.0, 0.0)
        if len(v) < 3:
            return turn
        return around(turn, v[1], v[2])
    slope = math.tan(math.radians(v[0]))
    return (1.0, 0.0, slope, 1.0, 0.0, 0.0) if name == "skewX" else (1.0, slope, 0.0, 1.0, 0.0, 0.0)


def cos_sin(degrees: float) -> tuple[float, float]:
    """Return cosine and sine, exact at quarter turns (an axis must stay an axis)."""
    quarter = degrees / 90
    if quarter == int(quarter):
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    turn = math.radians(math.fmod(degrees, 360.0))
    return math.cos(turn), math.sin(turn)


def around(matrix: Matrix, x: float, y: float) -> Matrix:
    """Return ``matrix`` applied about the point (x, y)."""
    return multiply((1.0, 0.0, 0.0, 1.0, x, y), multiply(matrix, (1.0, 0.0, 0.0, 1.0, -x, -y)))


_URL = re.compile(
    r"\s*+url\(\s*+(?:\"([^\"]*+)\"|'([^']*+)'|([^)\"']*+))\s*+\)\s*+(.*)\Z", re.IGNORECASE | re.DOTALL
)


def url_and_rest(text: str) -> tuple[str, str] | None:
    """Return the target of a leading ``url(...)`` and what follows it; None without one."""
    found = _URL.match(text)
    if not found:
        return None
    target = found.group(1) or found.group(2) or found.group(3) or ""
    return target.strip(), found.group(4).strip()


def shortened(text: str, most: int = 60) -> str:
    """Return ``text`` on one line and at most ``most`` characters long, for a message."""
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1] + "…"
