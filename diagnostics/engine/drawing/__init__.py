"""Where everything of our own diagrams stands: connector, displacement-step diagram, the top in its pose.

Coordinates are units of an SVG view box, y downwards. Nothing here knows how a page looks: a template draws these.
"""
