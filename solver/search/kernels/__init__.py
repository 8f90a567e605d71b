"""Compiled kernels: arrays in, arrays out; no object, no text, no clock inside a loop."""
