"""The demo: an invented shop whose cars, faults and repairs come from a seeded simulation of the declared top systems.

`truth` reads what is true of the invented cars, `life` lets them grow old, `writer` books their lives into the
database,
`load` does all of it once, `serve` runs the web server and the worker.
"""
