"""Contracts as drawings: SVG to scale, with a title on every mark, without script or outside resource."""
