"""Paper that people trust: sheets as shapes in millimetres, drawn by a PDF and an SVG writer."""
