"""The independent checker: recomputes a sequence from the model's text and names what is wrong in it.

It is a second implementation on purpose. Of the solver it uses the plain data types alone, and of the
calendar only its closures and horizon.
"""

from tests.checker.check import check_sequence

__all__ = ["check_sequence"]
