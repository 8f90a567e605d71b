"""What stands around the solver: files in, plans out, and the command line.

Rooms from the outside inwards: `cli`, `services`, `documents`, `intake` beside `translation`,
`contracts`, `errors`. Imports point down only; the solver is reached through `translation` alone.
"""

__version__ = "0.1.0"
