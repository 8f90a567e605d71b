"""What crosses an edge of the program, in the units of the trade: m, mm, min, €."""
