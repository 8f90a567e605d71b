"""The rows that kernels read: a line, its run plans, what they need, and the changeovers known so far.

Lengths are in µm, times in ms, money in weighed euro.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.uint8]
Rows = npt.NDArray[np.void]
Randomness = npt.NDArray[np.uint64]
"""State of a generator of random numbers, one number that is never 0."""

NEVER_MS = 1 << 60
"""Stands for a time that does not come."""

PLAN = np.dtype(
    [
        ("item", "i8"),  # what is to be placed once: a job, or the second lot of one
        ("job", "i8"),
        ("cut", "i8"),  # how its job is cut into lots; 0: not at all
        ("join_class", "i8"),  # runs of one class that follow each other at once run as one; 0: none
        ("shape", "i8"),  # which stations it uses, on which stock
        ("stock", "i8"),  # of the followed ones
        ("low_migration", "i8"),
        ("ready_ms", "i8"),  # ready time and fixed start, the later
        ("window_ms", "i8"),  # ready time alone: hidden work waits for it
        ("work_ms", "i8"),
        ("due_ms", "i8"),
        ("own_need_um", "i8"),
        ("tools_from", "i8"),
        ("tools_to", "i8"),
        ("seats_from", "i8"),
        ("seats_to", "i8"),
        ("follows", "i8"),  # the job that it stands directly behind in the sequence in force: `NO_JOB` where
        ("also_follows", "i8"),  # that has it first on this line, `NOWHERE` where it has it elsewhere;
        ("or_follows", "i8"),  # several where that has several lots of its job on the line
        ("moved_eur", "f8"),  # what it costs if it does not; 0 where the sequence in force has not its job
        ("run_eur", "f8"),  # running, roll ends and their waste
        ("floor_eur", "f8"),  # what it costs at least, whatever the order
        ("um_eur", "f8"),  # a µm of its stock wasted
        ("late_once_eur", "f8"),
        ("late_ms_eur", "f8"),
    ]
)
"""A job at chosen stations; `tools_from` to `tools_to` is its range of `TOOL` rows, `seats_from` to
`seats_to` of `SEAT` rows."""

NO_JOB, NOWHERE = -1, -2

FIELD = np.dtype([("column", "i8"), ("shift", "i8"), ("mask", "i8"), ("top", "i8")])
"""Where the state keeps the number of what a slot holds, 0 for empty: bits of a word, with a spare one
(`top`) above them, or a column of its own (`top` 0)."""

WORD = np.dtype([("low", "i8"), ("top", "i8"), ("always", "i8"), ("scatter", "i8")])
"""A word of the state that packs many slots. Added to `low`, a field carries into its `top` bit where it is
not 0; `always` are the tops of slots that change even while empty; `scatter` spreads the word's changes over
a changeover's key."""

PACKED_NEED = np.dtype([("mask", "i8"), ("value", "i8"), ("scarce", "i8")])
"""What a plan needs in the slots of a word: the bits of their fields, their values, and the bits of those
where scarce tools come and go."""

WASH_NEED = np.dtype([("radix", "i8"), ("value", "u4"), ("slot", "u4"), ("table", "u4"), ("column", "u4")])
"""A consumable that a plan needs in a slot, and the place of its code in a changeover's key; `table` is
the slot's table of wash-ups. Every plan has the same number of them, filled up with a column that
stays empty, so that no loop over them ends unforeseen."""

SET_NEED = np.dtype([("radix", "i8"), ("value", "i8"), ("slot", "u4"), ("column", "u4")])
"""The same for a set, whose members are bits."""

TOOL = np.dtype(
    [
        ("tool", "i8"),
        ("copies_from", "i8"),
        ("copies_to", "i8"),
        ("value", "i8"),
        ("slot", "u4"),
        ("station", "u4"),
    ]
)
"""A slot of a plan where scarce tools come and go: the scarce tool it needs there, or -1, the range of
its copies, and the value that stands for it."""

SEAT = np.dtype(
    [
        ("tool", "i8"),
        ("copies_from", "i8"),
        ("copies_to", "i8"),
        ("slot", "i8"),
        ("station", "i8"),
        ("alone", "i8"),  # the plan needs the tool nowhere else
    ]
)
"""A slot of a plan where tools come and go that lines share: the tool it needs there, or -1, and the range
of its copies in the plant."""

LINE = np.dtype(
    [
        ("shapes", "i8"),
        ("hold_ms", "i8"),
        ("cold_after_ms", "i8"),
        ("horizon_ms", "i8"),
        ("clean_down_in_ms", "i8"),
        ("clean_down_out_ms", "i8"),
        ("hands_while_running", "i8"),
        ("interruption_ms", "i8"),
        ("cold_interruption_ms", "i8"),
        ("restart_um", "i8"),
        ("start_up_um", "i8"),
        ("start_up_ms", "i8"),
        ("present_cold", "i8"),
        ("present_shape", "i8"),
        ("slots_to", "i8"),  # the state keeps what slots hold from `HEAD` up to here
        ("drawn_at", "i8"),  # where what was drawn of the stocks begins in the state
        ("in_use_at", "i8"),
        ("places_at", "i8"),
        ("stored_at", "i8"),
        ("single_copies", "i8"),  # no scarce tool has more than one copy
        ("has_begun", "i8"),  # a run had started on it as the plan begins
        ("asleep", "i8"),  # slots that are emptied when it goes cold, as bits
        ("places_from", "i8"),  # the first of its slots' places in the plant
        ("stopped_ms_eur", "f8"),
        ("start_eur", "f8"),
    ]
)

PATH = np.dtype(
    [
        ("last_x_um", "i8"),
        ("zone_from_um", "i8"),
        ("zone_to_um", "i8"),
        ("pull_back_um", "i8"),
        ("restart_um", "i8"),
        ("splice_um", "i8"),
        ("settle_um", "i8"),
        ("job_change_um", "i8"),
        ("registers_in_turn", "i8"),
        ("hands", "i8"),
        ("unit", "i8"),  # parts of a ms in which all times are whole
        ("stop_units", "i8"),
        ("job_change_units", "i8"),
        ("passing_units", "i8"),  # to pass a µm of set-up waste
        ("ms_price", "i8"),  # of a ms, in parts of a euro
        ("ms_eur", "f8"),
    ]
)
"""A line's web path, as changeovers see it."""

WEB_STATION = np.dtype(
    [
        ("x_um", "i8"),
        ("lift_um", "i8"),
        ("reengage_um", "i8"),
        ("jets", "i8"),
        ("hideable", "i8"),  # its tasks may be done while the run before runs
    ]
)

STEP = np.dtype(
    [
        ("uses", "i8"),  # what it looks at, as bits
        ("earlier_ms", "i8"),  # shifts in time up to which all but the hour stays the same
        ("later_ms", "i8"),
        ("late_ms", "i8"),  # below 0: early
        ("ready_ms", "i8"),
        ("plan", "i8"),
        ("late_once_eur", "f8"),
        ("late_ms_eur", "f8"),
    ]
)
"""A run of an order, as a stretch sees it."""

LOCK = np.dtype([("kind", "i8"), ("job", "i8"), ("at", "i8"), ("members_from", "i8"), ("members_to", "i8")])
"""A lock: `at` is a start in ms, a position from 1, or the job that must come later."""

SPLIT = np.dtype(
    [
        ("first", "i8"),  # the items that its lots are; the first is the whole job where it is not split
        ("second", "i8"),
        ("cuts", "i8"),
        ("due_ms", "i8"),
        ("late_once_eur", "f8"),
        ("late_ms_eur", "f8"),
    ]
)
"""A job that may be split, and what its lateness costs."""

STOCK = np.dtype([("on_hand_um", "i8"), ("arrivals_from", "i8"), ("arrivals_to", "i8")])
ARRIVAL = np.dtype([("at_ms", "i8"), ("length_um", "i8")])

CASE = np.dtype(
    {
        "names": ["key", "changes", "guarded_ms", "longest_ms", "guarded", "number"],
        "formats": ["i8", "i8", "i4", "i4", "i4", "i4"],
        "offsets": [0, 8, 16, 20, 24, 28],
        "itemsize": 128,
    }
)
"""Setting a shape after another, with certain changes: those of packed slots are `changes`, all else is
`key`. `guarded` is how many tasks may be hidden, with their sum and the longest, up to the next ms, or
`TOO_LONG_MS` for what would not fit. Three set-ups follow, which kernels reach as rows of their own; together
they fill two lines of a processor's cache."""
TOO_LONG_MS = (1 << 31) - 1

SETUP = np.dtype([("ms", "i8"), ("outgoing_um", "i8"), ("incoming_um", "i8"), ("eur", "f8")])
"""A changeover; `ms` below 0 where it is not known yet. Of four rows in the place of a case the first is
its head."""
ROWS_A_CASE = 4

NONE_HIDDEN, ALL_HIDDEN, RUN_OUT = 1, 2, 3
"""The set-ups of a case: with nothing hidden, with all hidden that may be, and run out."""

END, PRINT_START, BEFORE, LOW, CLOSURE, PRINT_CLOSURE, HEAD = 0, 1, 2, 3, 4, 5, 6
"""A line's state is one row of integers: end and print start of its last run, that run's plan (-1:
none), whether that was low-migration work, the first closures that end after its end and after its
print start; then what the slots hold: words, columns, an empty one and one that nobody reads; what was
drawn of every stock; until when the scarce tool in every slot is in use; the slot of every copy of a scarce
tool, -1 in the store; and until when it was in use when it came there."""

SLOT_BITS = 59
"""Slots are told apart by so many bits where one number stands for all of them; a word of the state has no
more."""

DONE, ABOVE, FULL, DROPPED, HALTED, LATER, STUCK = 0, 1, 2, 3, 4, 5, 6
"""How a kernel came back: finished, above the limit, without room for another changeover, at a run that
can never start, told to stop, at a run that has to wait for stock, with lines that wait for each other."""
