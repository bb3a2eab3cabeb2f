"""Drawings with one known defect each: outlines, clean letter-like shapes, defects, layout."""
