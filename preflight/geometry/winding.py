"""Winding numbers of many points against many segments, exact and near linear in practice."""

from __future__ import annotations

import numpy as np

from preflight.curves import Floats, Ints


def winding_numbers(
    points: Floats,
    segments: Floats,
    point_group: Ints | None = None,
    segment_group: Ints | None = None,
) -> Ints:
    """Return how often the segments wind around each point.

    ``points`` (m, 2); ``segments`` (n, 4) as x0, y0, x1, y1, the chords of closed contours. With
    groups (m,) and (n,), a point meets only the segments of its own group, so that many shapes are
    answered in one call. Points on a segment get one of the two neighbouring values.

    Segments are sorted into horizontal rows of their group's height, so each point meets only the
    few segments that reach its row. The count itself is the usual signed count of crossings of a
    ray to the right, with half-open spans (D. Sunday, Inclusion of a Point in a Polygon, memory).
    """
    count = np.zeros(len(points), np.int64)
    if not len(points) or not len(segments):
        return count
    p_group = np.zeros(len(points), np.int64) if point_group is None else point_group
    s_group = np.zeros(len(segments), np.int64) if segment_group is None else segment_group
    groups = int(max(p_group.max(), s_group.max())) + 1

    low = np.minimum(segments[:, 1], segments[:, 3])
    high = np.maximum(segments[:, 1], segments[:, 3])
    slanted = high > low
    segments, s_group, low, high = segments[slanted], s_group[slanted], low[slanted], high[slanted]
    if not len(segments):
        return count

    floor = np.full(groups, np.inf)
    ceiling = np.full(groups, -np.inf)
    np.minimum.at(floor, s_group, low)
    np.maximum.at(ceiling, s_group, high)
    # As many rows as make a segment of mean height reach about two of them.
    rise = np.bincount(s_group, weights=high - low, minlength=groups)
    number = np.bincount(s_group, minlength=groups)
    with np.errstate(invalid="ignore", divide="ignore"):
        rows = np.where(rise > 0, (ceiling - floor) * number / rise, 1.0)
        rows = np.clip(np.nan_to_num(rows), 1, np.maximum(number, 1)).astype(np.int64)
        scale = np.where(ceiling > floor, rows / (ceiling - floor), 0.0)
    base = np.concatenate(([0], np.cumsum(rows)[:-1]))

    def row_of(y: Floats, group: Ints) -> Ints:
        inside = np.clip((y - floor[group]) * scale[group], 0, rows[group] - 1)
        return np.asarray(base[group] + inside.astype(np.int64))

    first, last = row_of(low, s_group), row_of(high, s_group)
    spans = last - first + 1
    entry = np.repeat(np.arange(len(segments)), spans)
    row = np.repeat(first, spans) + _counted(spans)
    order = np.argsort(row, kind="stable")
    entry, row = entry[order], row[order]

    within = (points[:, 1] >= floor[p_group]) & (points[:, 1] < ceiling[p_group])
    asked = np.flatnonzero(within)
    wanted = row_of(points[asked, 1], p_group[asked])
    begin, end = np.searchsorted(row, wanted, "left"), np.searchsorted(row, wanted, "right")
    # In slices, so that memory stays bounded when one row is crowded.
    budget = np.cumsum(end - begin)
    slices = np.searchsorted(budget, np.arange(0, budget[-1] if len(budget) else 0, 4_000_000))
    for lo, hi in zip(slices, np.append(slices[1:], len(asked)), strict=True):
        met = end[lo:hi] - begin[lo:hi]
        which = np.repeat(np.arange(lo, hi), met)
        seg = segments[entry[np.repeat(begin[lo:hi], met) + _counted(met)]]
        px, py = points[asked[which], 0], points[asked[which], 1]
        up = (seg[:, 1] <= py) & (py < seg[:, 3])
        down = (seg[:, 3] <= py) & (py < seg[:, 1])
        side = (seg[:, 2] - seg[:, 0]) * (py - seg[:, 1]) - (px - seg[:, 0]) * (seg[:, 3] - seg[:, 1])
        signed = np.where(up & (side > 0), 1, 0) - np.where(down & (side < 0), 1, 0)
        count += np.bincount(asked[which], weights=signed, minlength=len(points)).astype(np.int64)
    return count


def _counted(sizes: Ints) -> Ints:
    """Return 0..size-1 for each of ``sizes``, one after another."""
    total = int(sizes.sum())
    return np.arange(total) - np.repeat(np.cumsum(sizes) - sizes, sizes)
