"""The demo: an invented shop whose cars, faults and repairs come from a seeded simulation of the declared top systems.

`truth` reads what is true of the invented cars, `life` lets them grow old, `writer` books their lives into the
database, `everyday` fills the shop's day (today by the services, at the time at which people would have used them;
`past_plans` and `past_offers` the year before in bulk), `load` does all of it once, `serve` runs the web server and the
worker.
"""
