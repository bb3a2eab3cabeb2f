"""The rules, one file each, in the order in which findings of equal severity are listed."""

from __future__ import annotations

from preflight.rules import (
    abutting_films,
    clipped_shape,
    colour_role_unstated,
    covered_shape,
    cut_in_waste,
    double_cut,
    embedded_picture,
    empty_layer,
    faulty_file,
    hidden_cut,
    hidden_item,
    invisible_outline,
    job_unmatched,
    letter_shape,
    letter_size,
    live_text,
    low_contrast,
    narrow_gap,
    near_double_cut,
    near_equal_colours,
    nothing_to_cut,
    off_roll,
    open_contour,
    outside_drawing_area,
    overlapping_subpaths,
    path_data_error,
    result_differs,
    size_unstated,
    thin_feature,
    tiny_island,
    too_many_films,
    uncuttable_paint,
    uncuttable_stroke,
    unjudged_effect,
)
from preflight.rules.rule import Parameter, Rule

RULES: tuple[Rule, ...] = (
    nothing_to_cut.RULE,
    live_text.RULE,
    overlapping_subpaths.RULE,
    hidden_cut.RULE,
    double_cut.RULE,
    near_double_cut.RULE,
    open_contour.RULE,
    uncuttable_stroke.RULE,
    uncuttable_paint.RULE,
    embedded_picture.RULE,
    clipped_shape.RULE,
    result_differs.RULE,
    unjudged_effect.RULE,
    path_data_error.RULE,
    thin_feature.RULE,
    narrow_gap.RULE,
    tiny_island.RULE,
    abutting_films.RULE,
    off_roll.RULE,
    size_unstated.RULE,
    colour_role_unstated.RULE,
    too_many_films.RULE,
    near_equal_colours.RULE,
    letter_size.RULE,
    letter_shape.RULE,
    low_contrast.RULE,
    cut_in_waste.RULE,
    covered_shape.RULE,
    outside_drawing_area.RULE,
    hidden_item.RULE,
    invisible_outline.RULE,
    job_unmatched.RULE,
    faulty_file.RULE,
    empty_layer.RULE,
)

__all__ = ["RULES", "Parameter", "Rule", "rule_by_code"]


def rule_by_code(code: str) -> Rule | None:
    """Return the rule with this code, or None."""
    return next((rule for rule in RULES if rule.code == code), None)
