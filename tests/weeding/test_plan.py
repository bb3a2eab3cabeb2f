"""What comes off, what stays, what is fragile, and every term of the difficulty, on shapes of known figures."""

from __future__ import annotations

import pytest

import preflight
from preflight.job import Job
from preflight.weeding import FilmWeeding, weed, weeding_of
from tests.weeding.samples import box, example, film_of, ring

FRAME = ring(10, 10, 110, 110, 20)


def terms(found: FilmWeeding) -> dict[str, float]:
    return {term.key: term.value for term in found.difficulty.terms}


class TestPieces:
    def test_a_frame_leaves_its_surround_and_its_middle(self) -> None:
        found = weeding_of(film_of(FRAME))
        assert (found.stays, found.removed, found.enclosed) == (1, 2, 1)
        # A border of 10 mm around 100 by 100, of which 100 by 100 less 60 by 60 stays.
        assert found.waste_area == pytest.approx(120 * 120 - (100 * 100 - 60 * 60))

    def test_what_touches_the_border_is_not_enclosed(self) -> None:
        """Without a border the two sides of a bar across the frame are pieces at the edge."""
        found = weeding_of(
            film_of(
                box(50, 0, 20, 100) + box(0, 40, 120, 20),
                {"roll": {"width": 610, "weed_border": 0}},
                120,
                100,
            )
        )
        assert (found.stays, found.removed, found.enclosed) == (1, 4, 0)

    def test_the_other_polarity_swaps_them(self) -> None:
        """The ring comes off, its middle and all around it stay; there is no border."""
        found = weeding_of(film_of(FRAME, {"polarity": "surround"}))
        assert (found.stays, found.removed, found.enclosed) == (2, 1, 1)
        assert found.frame is None
        assert found.waste_area == pytest.approx(100 * 100 - 60 * 60)

    def test_counters_of_a_demo_sign(self) -> None:
        """Letters with closed counters, counted by eye on the sign, and the sheet inside its frame."""
        (film,) = example("gate-board").films
        found = weeding_of(film)
        closed = {"Marrowby": 4, "Lane": 2, "ALLOTMENTS": 2, "Please": 4, "close": 2, "the": 1, "gate": 4}
        closed |= {"after": 2, "you": 1}
        assert found.enclosed == sum(closed.values()) + 1
        assert found.removed == found.enclosed + 1


class TestFragile:
    def test_small_pieces_holes_necks_and_points(self) -> None:
        drawing = (
            box(10, 10, 1.5, 1.5)  # 2.25 mm2: a small piece
            + ring(40, 10, 60, 30, 9.2)  # a hole of 1.6 by 1.6 mm
            + '<path fill="#1f5b3a" d="M100 10h30v14h-10v1.2h10v14h-30v-14h10v-1.2h-10z"/>'  # a neck 10 mm wide
            + '<path fill="#1f5b3a" d="M150 10h20v14h-19v1h19v14h-20z"/>'  # a neck 1 mm wide
        )
        found = weeding_of(film_of(drawing))
        by_kind = {
            what: [one for one in found.fragile if one.what == what]
            for what in ("small-piece", "small-hole", "narrow-part", "point")
        }
        assert [one.size for one in by_kind["small-piece"]] == [pytest.approx(2.25)]
        assert [one.size for one in by_kind["small-hole"]] == [pytest.approx(1.6 * 1.6)]
        assert 1.0 in [pytest.approx(one.size, abs=0.02) for one in by_kind["narrow-part"]]
        assert terms(found)["small-pieces"] == terms(found)["small-holes"] == 1

    def test_what_is_robust_is_not_fragile(self) -> None:
        assert weeding_of(film_of(FRAME)).fragile == ()


class TestDifficulty:
    def test_the_sum_is_what_the_terms_say(self) -> None:
        difficulty = weeding_of(film_of(FRAME, {"film": {"kind": "cast"}})).difficulty
        for term in difficulty.terms:
            assert term.points == pytest.approx(term.value * term.weight, abs=1e-3)
        total = sum(term.points for term in difficulty.terms) * difficulty.film_factor
        assert difficulty.points == pytest.approx(total, abs=0.05)
        assert "No published formula" in difficulty.basis
        assert "no source" in difficulty.basis

    def test_terms_of_known_shapes(self) -> None:
        values = terms(weeding_of(film_of(FRAME)))
        assert values["removed"] == 2
        assert values["enclosed"] == 1
        # 400 mm and 240 mm of outline on 6400 mm2: 6.4 dm on 0.64 dm2.
        assert values["outline"] == pytest.approx(10)
        assert values["waste"] == pytest.approx(0.8)

    @pytest.mark.parametrize(
        ("more", "key"),
        [
            (box(200, 10, 1.5, 1.5), "small-pieces"),
            (ring(200, 10, 220, 30, 9.2), "small-holes"),
            ('<path fill="#1f5b3a" d="M200 10h20v14h-19v1h19v14h-20z"/>', "narrow-parts"),
            ('<path fill="#1f5b3a" d="M200 10h4l-2 60z M190 8h24v4h-24z"/>', "points"),
        ],
    )
    def test_more_of_anything_is_harder(self, more: str, key: str) -> None:
        plain, harder = weeding_of(film_of(FRAME)), weeding_of(film_of(FRAME + more))
        assert terms(harder)[key] > terms(plain)[key]
        assert harder.difficulty.points > plain.difficulty.points

    def test_unjudged_narrow_parts_are_told(self) -> None:
        film = film_of(FRAME)
        film.unjudged["narrow parts"] = "too fine to judge"
        assert not weeding_of(film).difficulty.complete
        assert weeding_of(film_of(FRAME)).difficulty.complete

    def test_grades_rise_with_points(self) -> None:
        def grid(count: int, size: float) -> str:
            return "".join(
                box(10 + 12 * i, 10 + 12 * j, size, size) for i in range(count) for j in range(count)
            )

        found = [weeding_of(film_of(grid(n, size))).difficulty for n, size in ((1, 8), (8, 8), (12, 1.5))]
        assert sorted(one.points for one in found) == [one.points for one in found]
        assert (found[0].grade, found[-1].grade) == ("easy", "hard")


class TestWhole:
    def test_every_film_of_an_artwork(self) -> None:
        drawing = FRAME + '<rect x="200" y="10" width="80" height="40" fill="#f0a71f"/>'
        head = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="200mm" viewBox="0 0 400 200">'
        found = weed(preflight.read(f"{head}{drawing}</svg>".encode()), Job.parse({"film": {"kind": "mask"}}))
        assert [one.film for one in found] == ["#1f5b3a", "#f0a71f"]
        assert {one.difficulty.film_factor for one in found} == {0.8}
        # JSON there and back: what is shown is plain data.
        assert FilmWeeding.model_validate_json(found[0].model_dump_json()) == found[0]


class TestHands:
    def test_a_range_from_stated_rates(self) -> None:
        """Two pieces at 2 to 6 s, nothing fragile, 0.8 dm2 of waste at 1 to 3 s."""
        hands = weeding_of(film_of(FRAME)).hands
        assert [hands.least, hands.most] == pytest.approx([4.8, 14.4])
        assert "Rule of thumb" in hands.basis
