"""Values from outside the project: handbooks, standards, textbooks and benchmark libraries.

Every value names its source. "From memory" means that the data were written down from memory and the
result was derived again by enumeration or arithmetic; "common practice, no source" that the trade
works so and no citable text was found; "own example" that the formula is common and the numbers are
our own.
"""
