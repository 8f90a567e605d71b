"""The first engine for several lines: a local search on the scheduler itself, kept to be measured against.

It knows neither kernels nor threads; `engine` assembles it.
"""
