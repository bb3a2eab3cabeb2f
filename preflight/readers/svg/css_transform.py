"""The CSS transform property and transform-origin (CSS Transforms 1)."""

from __future__ import annotations

import math
from typing import Any

import tinycss2

from preflight.curves import IDENTITY, Matrix, multiply
from preflight.readers.svg.values import ABSOLUTE, Measure, function_matrix, length

_ANGLES = {"deg": 1.0, "grad": 0.9, "rad": 180 / math.pi, "turn": 360.0}


def css_transform(text: str, measure: Measure, size: tuple[float, float]) -> Matrix | None:
    """Return the matrix of a transform property; None where it is malformed or leaves the plane.

    ``size`` is the reference box's width and height in user units, for percentages.
    """
    matrix = IDENTITY
    for token in tinycss2.parse_component_value_list(text):
        if token.type in ("whitespace", "comment"):
            continue
        if token.type == "ident" and token.lower_value == "none":
            continue
        if token.type != "function":
            return None
        step = _function(token, measure, size)
        if step is None:
            return None
        matrix = multiply(matrix, step)
    return matrix if all(map(math.isfinite, matrix)) else None


def _function(token: Any, measure: Measure, size: tuple[float, float]) -> Matrix | None:
    name = token.lower_name
    args = [t for t in token.arguments if t.type not in ("whitespace", "comment")]
    values = [t for t in args if not (t.type == "literal" and t.value == ",")]
    plain = name.rstrip("xy") if name not in ("matrix",) else name
    read: list[float | None]
    if plain == "translate":
        axes = "y" if name.endswith("y") else "xy"
        if not 1 <= len(values) <= len(axes):
            return None
        read = [_length(t, measure, size["xy".index(a)]) for t, a in zip(values, axes, strict=False)]
    elif plain in ("rotate", "skew"):
        read = [_angle(t) for t in values]
    else:
        read = [_number(t) for t in values]
    numbers = [v for v in read if v is not None and math.isfinite(v)]
    if len(numbers) != len(read):
        return None
    return _matrix(name, numbers)


def _matrix(name: str, n: list[float]) -> Matrix | None:
    one, two = len(n) == 1, len(n) in (1, 2)
    if name == "matrix" and len(n) == 6:
        return function_matrix("matrix", n)
    if name == "translate" and two:
        return function_matrix("translate", n)
    if name == "scale" and two:
        return function_matrix("scale", n)
    if name == "skew" and two:
        return (
            1.0,
            math.tan(math.radians(n[1])) if len(n) > 1 else 0.0,
            math.tan(math.radians(n[0])),
            1.0,
            0.0,
            0.0,
        )
    if not one:
        return None
    single: dict[str, tuple[str, list[float]]] = {
        "translatex": ("translate", [n[0], 0.0]),
        "translatey": ("translate", [0.0, n[0]]),
        "scalex": ("scale", [n[0], 1.0]),
        "scaley": ("scale", [1.0, n[0]]),
        "rotate": ("rotate", n),
        "skewx": ("skewX", n),
        "skewy": ("skewY", n),
    }
    return function_matrix(*single[name]) if name in single else None


def _number(token: Any) -> float | None:
    if token.type == "number":
        return float(token.value)
    if token.type == "percentage":
        return float(token.value) / 100
    return None


def _angle(token: Any) -> float | None:
    if token.type == "number":
        # The transform attribute's grammar, which this property takes in too, has bare degrees.
        return float(token.value)
    if token.type == "dimension" and token.lower_unit in _ANGLES:
        return float(token.value) * _ANGLES[token.lower_unit]
    return None


def _length(token: Any, measure: Measure, whole: float) -> float | None:
    if token.type == "number":
        return float(token.value)
    if token.type == "percentage":
        return float(token.value) / 100 * whole
    if token.type == "dimension":
        absolute = ABSOLUTE.get(token.lower_unit)
        if absolute is not None:
            return float(token.value) * absolute
        return length(f"{token.value}{token.unit}", measure, "o")
    return None


def transform_origin(
    text: str, measure: Measure, box: tuple[float, float, float, float]
) -> tuple[float, float] | None:
    """Return the origin in user units; ``box`` is the reference box (x, y, width, height).

    Source: CSS Transforms 1, section 5. None where malformed.
    """
    parts = text.lower().split()
    if not 1 <= len(parts) <= 3:
        return None
    first, second = parts[0], parts[1] if len(parts) > 1 else "center"
    if first in ("top", "bottom") or second in ("left", "right"):
        first, second = second, first
    x = _offset(first, {"left": 0.0, "center": 50.0, "right": 100.0}, box[0], box[2], measure)
    y = _offset(second, {"top": 0.0, "center": 50.0, "bottom": 100.0}, box[1], box[3], measure)
    return None if x is None or y is None else (x, y)


def _offset(word: str, words: dict[str, float], low: float, whole: float, measure: Measure) -> float | None:
    if word in words:
        return low + words[word] / 100 * whole
    if word.endswith("%"):
        try:
            return low + float(word[:-1]) / 100 * whole
        except ValueError:
            return None
    value = length(word, measure, "o")
    return None if value is None else low + value
