"""Reading SVG: SVG 2 with the behaviours of SVG 1.1 that files in the field rely on."""
