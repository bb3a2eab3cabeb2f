"""Small single-purpose geometry modules; each works on arrays or shapely geometries in mm."""
