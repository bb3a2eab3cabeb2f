"""How a cutter follows contours."""
