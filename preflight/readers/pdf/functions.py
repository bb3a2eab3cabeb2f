"""PDF functions, as the tint transforms of spot colours use them (ISO 32000-1, 7.10)."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Sequence

import pikepdf

from preflight.readers.limits import Budget
from preflight.readers.pdf.streams import stream_bytes
from preflight.readers.pdf.values import entry, items, numbers

Function = Callable[[Sequence[float]], list[float]]
_MOST_INPUTS = 8
_MOST_STEPS = 20_000
_DEEPEST = 16


def function(value: object, budget: Budget, depth: int = 0) -> Function | None:
    """Return the function that ``value`` (a dictionary or stream) describes; None: it cannot be read."""
    kind = entry(value, "FunctionType")
    domain = numbers(entry(value, "Domain"))
    if domain is None or len(domain) < 2 or len(domain) % 2 or depth > _DEEPEST:
        return None
    limits = numbers(entry(value, "Range"))
    made: Function | None = None
    if kind == 0 and isinstance(value, pikepdf.Stream):
        made = _sampled(value, domain, limits, budget)
    elif kind == 2:
        made = _exponential(value)
    elif kind == 3:
        made = _stitched(value, domain, budget, depth)
    elif kind == 4 and isinstance(value, pikepdf.Stream) and limits is not None:
        made = _calculator(value, len(limits) // 2, budget)
    if made is None:
        return None
    inner = made

    def limited(inputs: Sequence[float]) -> list[float]:
        found = inner(_clamped(inputs, domain))
        return _clamped(found, limits) if limits is not None else found

    return limited


def _clamped(values: Sequence[float], limits: Sequence[float]) -> list[float]:
    pairs = zip(values, limits[::2], limits[1::2], strict=False)
    return [min(max(value, low), high) for value, low, high in pairs]


def _between(x: float, a: float, b: float, c: float, d: float) -> float:
    return c if b == a else c + (x - a) * (d - c) / (b - a)


def _exponential(value: object) -> Function | None:
    first = numbers(entry(value, "C0")) or (0.0,)
    last = numbers(entry(value, "C1")) or (1.0,)
    power = numbers([entry(value, "N")])
    if power is None or len(first) != len(last):
        return None
    exponent = power[0]

    def at(inputs: Sequence[float]) -> list[float]:
        x = inputs[0]
        raised = 0.0 if x <= 0 and exponent <= 0 else x**exponent if x >= 0 else 0.0
        return [a + raised * (b - a) for a, b in zip(first, last, strict=True)]

    return at


def _stitched(value: object, domain: Sequence[float], budget: Budget, depth: int) -> Function | None:
    parts = [function(part, budget, depth + 1) for part in items(entry(value, "Functions"))]
    bounds, encode = numbers(entry(value, "Bounds")), numbers(entry(value, "Encode"))
    if not parts or bounds is None or encode is None:
        return None
    if len(bounds) != len(parts) - 1 or len(encode) != 2 * len(parts):
        return None
    edges = (domain[0], *bounds, domain[1])

    def at(inputs: Sequence[float]) -> list[float]:
        x = inputs[0]
        index = sum(x >= bound for bound in bounds)
        part = parts[index]
        if part is None:
            return []
        low, high = encode[2 * index : 2 * index + 2]
        return part([_between(x, edges[index], edges[index + 1], low, high)])

    return None if any(part is None for part in parts) else at


def _sampled(
    value: pikepdf.Stream, domain: Sequence[float], limits: Sequence[float] | None, budget: Budget
) -> Function | None:
    sizes, bits = numbers(entry(value, "Size")), numbers([entry(value, "BitsPerSample")])
    inputs = len(domain) // 2
    if sizes is None or bits is None or limits is None or len(sizes) != inputs or inputs > _MOST_INPUTS:
        return None
    counts, width, outputs = [int(size) for size in sizes], int(bits[0]), len(limits) // 2
    data = stream_bytes(value, budget)
    needed = math.prod(counts) * outputs * width
    if data is None or min(counts) < 1 or width not in (1, 2, 4, 8, 12, 16, 24, 32) or len(data) * 8 < needed:
        return None
    encode = numbers(entry(value, "Encode")) or tuple(v for n in counts for v in (0.0, float(n - 1)))
    decode = numbers(entry(value, "Decode")) or tuple(limits)
    if len(encode) != 2 * inputs or len(decode) != 2 * outputs:
        return None

    def sample(index: int) -> list[float]:
        found = []
        for output in range(outputs):
            start = (index * outputs + output) * width
            first, last = start // 8, (start + width + 7) // 8
            raw = int.from_bytes(data[first:last], "big") >> (last * 8 - start - width)
            x = (raw & ((1 << width) - 1)) / ((1 << width) - 1)
            found.append(decode[2 * output] + x * (decode[2 * output + 1] - decode[2 * output]))
        return found

    def at(values: Sequence[float]) -> list[float]:
        places = []
        for i, x in enumerate(values):
            e = _between(x, domain[2 * i], domain[2 * i + 1], encode[2 * i], encode[2 * i + 1])
            e = min(max(e, 0.0), counts[i] - 1.0)
            low = min(int(e), max(counts[i] - 2, 0))
            places.append((low, e - low))
        total = [0.0] * outputs
        for corner in itertools.product((0, 1), repeat=inputs):
            weight, index, step = 1.0, 0, 1
            for (low, part), upper, count in zip(places, corner, counts, strict=True):
                weight *= part if upper else 1 - part
                index += min(low + upper, count - 1) * step
                step *= count
            if weight:
                total = [t + weight * s for t, s in zip(total, sample(index), strict=True)]
        return total

    return at


# PostScript calculator functions (ISO 32000-1, 7.10.5).

_TOKEN = re.compile(rb"[{}]|[^\s{}]+")
_Program = list["float | str | _Program"]


def _calculator(value: pikepdf.Stream, outputs: int, budget: Budget) -> Function | None:
    data = stream_bytes(value, budget)
    program = _parsed(_TOKEN.findall(data)) if data is not None else None
    if program is None:
        return None
    made = program

    def at(inputs: Sequence[float]) -> list[float]:
        stack: list[float] = list(inputs)
        try:
            _execute(made, stack, [0])
        except (IndexError, ValueError, ZeroDivisionError, OverflowError, TypeError):
            return []
        return stack[-outputs:] if len(stack) >= outputs else []

    return at


def _parsed(tokens: list[bytes]) -> _Program | None:
    stack: list[_Program] = [[]]
    for token in tokens:
        if token == b"{":
            if len(stack) > _DEEPEST:
                return None
            stack.append([])
        elif token == b"}":
            if len(stack) < 2:
                return None
            done = stack.pop()
            stack[-1].append(done)
        else:
            word = token.decode("latin-1")
            try:
                stack[-1].append(float(word))
            except ValueError:
                stack[-1].append(word)
    outer = stack[0]
    return outer[0] if len(stack) == 1 and len(outer) == 1 and isinstance(outer[0], list) else None


_TWO: dict[str, Callable[[float, float], float]] = {
    "add": lambda a, b: a + b,
    "sub": lambda a, b: a - b,
    "mul": lambda a, b: a * b,
    "div": lambda a, b: a / b,
    "idiv": lambda a, b: float(int(a / b)),
    "mod": math.fmod,
    "exp": lambda a, b: float(a**b),
    "atan": lambda a, b: math.degrees(math.atan2(a, b)) % 360,
    "eq": lambda a, b: float(a == b),
    "ne": lambda a, b: float(a != b),
    "gt": lambda a, b: float(a > b),
    "ge": lambda a, b: float(a >= b),
    "lt": lambda a, b: float(a < b),
    "le": lambda a, b: float(a <= b),
    "and": lambda a, b: float(int(a) & int(b)),
    "or": lambda a, b: float(int(a) | int(b)),
    "xor": lambda a, b: float(int(a) ^ int(b)),
    "bitshift": lambda a, b: float(int(a) << int(b) if b >= 0 else int(a) >> -int(b)),
}
_ONE: dict[str, Callable[[float], float]] = {
    "abs": abs,
    "neg": lambda a: -a,
    "ceiling": lambda a: float(math.ceil(a)),
    "floor": lambda a: float(math.floor(a)),
    "round": lambda a: float(math.floor(a + 0.5)),
    "truncate": lambda a: float(math.trunc(a)),
    "sqrt": math.sqrt,
    "sin": lambda a: math.sin(math.radians(a)),
    "cos": lambda a: math.cos(math.radians(a)),
    "ln": math.log,
    "log": math.log10,
    "cvi": lambda a: float(math.trunc(a)),
    "cvr": lambda a: a,
    "not": lambda a: float(not a),
}
_CONSTANTS = {"true": 1.0, "false": 0.0}


def _execute(program: _Program, stack: list[float], steps: list[int]) -> None:
    """Run ``program`` on ``stack``; truth values are 1 and 0. ``steps`` counts, so that it ends."""
    blocks: list[_Program] = []
    for token in program:
        steps[0] += 1
        if steps[0] > _MOST_STEPS or len(stack) > 200:
            raise ValueError("a calculator function that does not end")
        if isinstance(token, float):
            stack.append(token)
        elif isinstance(token, list):
            blocks.append(token)
        elif token in ("if", "ifelse"):
            other = blocks.pop() if token == "ifelse" else None
            then = blocks.pop()
            chosen = then if stack.pop() else other
            if chosen is not None:
                _execute(chosen, stack, steps)
        elif token in _TWO:
            b, a = stack.pop(), stack.pop()
            stack.append(_TWO[token](a, b))
        elif token in _ONE:
            stack.append(_ONE[token](stack.pop()))
        elif token in _CONSTANTS:
            stack.append(_CONSTANTS[token])
        else:
            _shuffle(token, stack)


def _shuffle(token: str, stack: list[float]) -> None:
    if token == "pop":
        stack.pop()
    elif token == "dup":
        stack.append(stack[-1])
    elif token == "exch":
        stack[-2], stack[-1] = stack[-1], stack[-2]
    elif token == "copy":
        count = int(stack.pop())
        if count > 0:
            stack.extend(stack[-count:])
    elif token == "index":
        stack.append(stack[-1 - int(stack.pop())])
    elif token == "roll":
        turns, count = int(stack.pop()), int(stack.pop())
        if not 0 < count <= len(stack):
            raise ValueError("roll")
        part = stack[-count:]
        turns %= count
        stack[-count:] = part[-turns:] + part[:-turns] if turns else part
    else:
        raise ValueError(token)
