"""General libraries on the same instances, at the same wall time.

They start cold or from the order of the dispatching rule, never from ours, and their orders are costed as
ours are. The seconds are those of their search: building their models is not counted against them.
"""

from __future__ import annotations

from tests.bench.instances import Instance
from tests.bench.peers import constraints, routing
from tests.bench.trials import Solver

CIRCUIT = Solver("CP-SAT", constraints.cold)
CIRCUIT_HINTED = Solver("CP-SAT, hinted", constraints.hinted)
ROUTING = Solver("routing library, one thread", routing.guided)


def peers_of(instance: Instance) -> tuple[Solver, ...]:
    """Those that are tried on an instance; cold models of lateness are known to be hopeless."""
    return (CIRCUIT_HINTED, ROUTING) if instance.due else (CIRCUIT, CIRCUIT_HINTED, ROUTING)
