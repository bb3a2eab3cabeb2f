"""A bounded memory: the least recently used goes first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Generic, TypeVar

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class _Kept(Generic[Value]):
    value: Value
    size: int
    until: float


class Shelf(Generic[Value]):
    """Keeps values for ``seconds``, at most ``most_bytes`` and ``most_entries`` of them."""

    def __init__(self, most_bytes: int, most_entries: int, seconds: float) -> None:
        self._most_bytes = most_bytes
        self._most_entries = most_entries
        self._seconds = seconds
        self._kept: OrderedDict[Hashable, _Kept[Value]] = OrderedDict()
        self.size = 0
        """Bytes that are kept."""
        self.hits = 0
        self.misses = 0

    def __len__(self) -> int:
        return len(self._kept)

    def __contains__(self, key: Hashable) -> bool:
        return key in self._kept

    def get(self, key: Hashable, now: float) -> Value | None:
        """Return the value of ``key`` at ``now`` (seconds, monotonic), or None."""
        kept = self._kept.get(key)
        if kept is not None and kept.until <= now:
            self.drop(key)
            kept = None
        if kept is None:
            self.misses += 1
            return None
        self.hits += 1
        self._kept.move_to_end(key)
        return kept.value

    def put(self, key: Hashable, value: Value, size: int, now: float) -> None:
        """Keep ``value``, which takes ``size`` bytes; one that is too large for the shelf is not kept."""
        self.drop(key)
        if size > self._most_bytes or not self._most_entries:
            return
        self._kept[key] = _Kept(value, size, now + self._seconds)
        self.size += size
        while self.size > self._most_bytes or len(self._kept) > self._most_entries:
            self.drop(next(iter(self._kept)))

    def drop(self, key: Hashable) -> None:
        """Forget ``key`` where it is kept."""
        kept = self._kept.pop(key, None)
        if kept is not None:
            self.size -= kept.size
