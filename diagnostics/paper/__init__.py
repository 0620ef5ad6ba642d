"""The kit of our papers, for every app above: typeface, measures, styles, the page with its foot. Without Django."""
