"""The domain: a press line's queue, its changeovers, its sequences and what they cost.

Pure and deterministic: plain frozen data in, sequences and costs out. Lengths are integers in µm,
times integers in ms from the plan's start, money in euro, fractions exact.
"""
