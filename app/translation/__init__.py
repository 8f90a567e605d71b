"""Contracts to the solver and back: zones, units and ids. The one room that knows the solver."""
