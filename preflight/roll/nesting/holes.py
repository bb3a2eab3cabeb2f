"""Small pieces laid into the holes of larger ones before the search; only where a job asks for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from preflight.roll.nesting.model import Piece, Placement, Strip, placed, polygons_of

_BOUNDARY = 400
"""Corners of a hole that are looked at; more are simplified away, to the inside."""

_ROUND = 1 / np.cos(np.pi / 64)
"""A buffer's round corners are chords of 16 to the quarter: grown by so much, they lie outside the true arc."""

_AWAY = 1e-7
"""Of the hole's size: so much a guest keeps away from what it could touch, for rounding's sake."""


@dataclass(frozen=True, slots=True)
class Hosted:
    """Which pieces travel in the holes of which host copies: by the host's key, its guests as placed."""

    guests: dict[str, tuple[str, tuple[Placement, ...]]] = field(default_factory=dict)
    """Key of the host copy in the search: the host's own key, and the guests relative to it."""

    def spread(self, placements: Sequence[Placement]) -> tuple[Placement, ...]:
        """Return the placements of the search with all guests put where their hosts went."""
        found: list[Placement] = []
        for place in placements:
            key, guests = self.guests.get(place.key, (place.key, ()))
            found.append(replace(place, key=key))
            turn = np.radians(place.turn)
            for guest in guests:
                x = np.cos(turn) * guest.x - np.sin(turn) * guest.y + place.x
                y = np.sin(turn) * guest.x + np.cos(turn) * guest.y + place.y
                found.append(Placement(guest.key, (guest.turn + place.turn) % 360, float(x), float(y)))
        return tuple(found)


def fill_holes(pieces: Sequence[Piece], strip: Strip) -> tuple[tuple[Piece, ...], Hosted]:
    """Return the pieces that are left to search for, and those laid into holes.

    The largest pieces that fit a hole go first. A guest shares its host's turn, so only hosts and
    guests whose turns allow that are paired: both of the same turns, which stay the same when added.
    """
    left = {piece.key: piece.copies for piece in pieces}
    by_size = sorted(pieces, key=lambda piece: -piece.region.area)
    hosted: dict[str, tuple[str, tuple[Placement, ...]]] = {}
    outer: list[Piece] = []
    for host in by_size:
        while left[host.key] > 0:
            left[host.key] -= 1
            guests: list[Placement] = []
            for hole in _holes(host.region):
                guests += _filled(hole, host, by_size, left, strip)
            if not guests:
                # The next copies' holes would stay empty too: fewer pieces are left than now.
                outer.append(replace(host, copies=left[host.key] + 1))
                left[host.key] = 0
                break
            key = f"{host.key}\0{len(hosted)}"
            hosted[key] = (host.key, tuple(guests))
            outer.append(replace(host, key=key, copies=1))
    return tuple(outer), Hosted(hosted)


def _holes(region: BaseGeometry) -> Iterator[Polygon]:
    return (Polygon(ring) for part in polygons_of(region) for ring in part.interiors)


def _closed(turns: tuple[float, ...] | None) -> bool:
    """Return whether a turn by one of ``turns`` on top of another is one of them again."""
    if turns is None:
        return True
    known = {round(turn % 360, 6) % 360 for turn in turns}
    return all(round((a + b) % 360, 6) % 360 in known for a in known for b in known)


def _filled(
    hole: Polygon, host: Piece, pieces: Sequence[Piece], left: dict[str, int], strip: Strip
) -> list[Placement]:
    apart = strip.gap * _ROUND
    room: BaseGeometry = hole.buffer(-apart)
    # Parts of the host itself may stand in its holes.
    room = shapely.difference(room, host.region.buffer(apart))
    guests: list[Placement] = []
    for piece in pieces:
        if piece.turns != host.turns or not _closed(piece.turns) or piece.region.area >= room.area:
            continue
        while left[piece.key] > 0:
            spot = _spot(room, piece, strip)
            if spot is None:
                break
            left[piece.key] -= 1
            guests.append(spot)
            taken = piece.at(spot.turn, spot.x, spot.y)
            room = shapely.difference(room, taken.buffer(apart) if apart else taken)
    return guests


def _spot(room: BaseGeometry, piece: Piece, strip: Strip) -> Placement | None:
    """Return the first place, of any turn that piece and film allow, where ``piece`` lies in ``room``."""
    turns = (0.0,) if strip.directional or piece.turns is None else piece.turns
    for turn in turns:
        lying = placed(piece.region, turn, 0, 0)
        for part in polygons_of(room):
            for x, y in _free(part, lying):
                if room.covers(placed(piece.region, turn, x, y)):
                    return Placement(piece.key, turn, x, y)
    return None


def _free(room: Polygon, lying: BaseGeometry) -> list[tuple[float, float]]:
    """Return moves that lay the convex hull of ``lying`` into ``room``, touching its edges: least y first.

    Moved so, the hull's reference point stays out of what each edge of the room sweeps with the hull
    turned half round (the Minkowski sum of the two); the corners of what is left are the answers.
    """
    a0, b0, a1, b1 = lying.bounds
    x0, y0, x1, y1 = room.bounds
    if a1 - a0 > x1 - x0 or b1 - b0 > y1 - y0:
        return []
    size = max(x1 - x0, y1 - y0)
    ring: BaseGeometry = room
    slack = size * 1e-4
    while len(shapely.get_coordinates(ring)) > _BOUNDARY:
        # Simplified in steps that stay inside: shrunk by what simplifying may move an edge.
        ring = room.buffer(-slack).simplify(slack)
        slack *= 2
    if not isinstance(ring, Polygon) or ring.is_empty:
        return []
    anchor = shapely.get_coordinates(lying)[0]
    hull = shapely.get_coordinates(shapely.convex_hull(lying).buffer(size * _AWAY, quad_segs=1))
    mirrored = anchor - hull
    swept = []
    for edge in (ring.exterior, *ring.interiors):
        corners = shapely.get_coordinates(edge)
        ends = np.stack((corners[:-1], corners[1:]), axis=1)
        sums = (ends[:, :, None, :] + mirrored[None, None]).reshape(len(ends), -1, 2)
        swept.append(shapely.convex_hull(shapely.multipoints(sums)))
    free = shapely.difference(ring, shapely.union_all(np.concatenate(swept)))
    spots = shapely.get_coordinates(free)
    order = np.lexsort((spots[:, 0], spots[:, 1]))
    return [(float(x - anchor[0]), float(y - anchor[1])) for x, y in spots[order]]
