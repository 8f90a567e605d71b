"""Benchmarks: what the optimiser makes of invented days, beside orders nobody searched for."""
