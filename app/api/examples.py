"""Bodies as they are posted, for the description of the API. All of it is invented."""

from __future__ import annotations

from typing import Any

Example = dict[str, Any]

JOB: Example = {
    "job": "J-2101",
    "revision": 3,
    "customer": "Example Tea",
    "substrate": "PAPER-80",
    "die": "D-101",
    "colours": ["C", "M", "Y", "K"],
    "finishes": [[{"kind": "inkjet"}], [{"kind": "varnish", "consumable": "varnish-gloss"}]],
    "due": "2027-03-01T14:00:00+01:00",
    "versions": [
        {"version": "Green", "quantity": 20000},
        {"version": "Mint", "quantity": 12000, "overs_pct": 2},
    ],
}
QUANTITIES: Example = {"revision": 4, "versions": [{"version": "Mint", "quantity": 15000}]}
CANCELLED: Example = {"revision": 5, "status": "cancelled", "reason": "the customer took it back"}

SUBSTRATE: Example = {
    "code": "PAPER-80",
    "revision": 1,
    "name": "Coated paper, 80 g/m², glassine liner",
    "eur_per_m2": 0.42,
    "widths": [{"width_mm": 330, "on_hand_m": 3600}],
    "material_class": "paper",
    "thickness_um": 140,
    "usual_roll_m": 2000,
}
ROLL: Example = {
    "id": "R-4101",
    "revision": 1,
    "substrate": "PAPER-80",
    "width_mm": 330,
    "length_m": 1406,
    "received": "2026-10-26T00:00:00+01:00",
    "location": "Hall 1, B-01",
    "flaws": [{"kind": "defect", "from_m": 120, "to_m": 135}, {"kind": "splice", "from_m": 300}],
}
DELIVERY: Example = {
    "id": "V-88",
    "substrate": "PAPER-80",
    "width_mm": 330,
    "at": "2027-03-02T08:00:00+01:00",
    "length_m": 4000,
}
DIE: Example = {
    "id": "D-101",
    "revision": 2,
    "teeth": 96,
    "pitch": "1/8 in",
    "across": 3,
    "around": 4,
    "label_width_mm": 100,
    "gap_across_mm": 3,
    "copies": 1,
}
CYLINDER: Example = {"id": "M-96", "teeth": 96, "pitch": "1/8 in", "copies": 2}
CONSUMABLE: Example = {"id": "varnish-gloss", "darkness": 0, "plate": True, "max_speed_m_min": 80}
ACTUAL: Example = {
    "id": "A-7001",
    "revision": 2,
    "line": "H1",
    "job": "J-2101",
    "changeover_start": "2027-03-01T06:00:00+01:00",
    "started": "2027-03-01T06:18:00+01:00",
    "ended": "2027-03-01T06:33:00+01:00",
    "good_m": 1016.4,
    "waste_m": 21.5,
    "stops": 2,
    "versions": [{"version": "Green", "labels": 20160}],
}
KEY: Example = {"name": "MIS", "role": "integration", "expires_at": "2028-01-01T00:00:00+01:00"}
WEBHOOK: Example = {
    "name": "MIS",
    "url": "https://mis.example.com/hooks/runwright",
    "types": ["run.started", "run.finished", "job.at-risk"],
}
CHANGED_WEBHOOK: Example = WEBHOOK | {"id": "0f5c7a44-95c8-4d0f-8a3e-6b1d2c3e4f50", "active": False}
RESENDING: Example = {"since": "2027-03-01T06:00:00+01:00"}
USER: Example = {"name": "jo", "full_name": "Jo Example", "role": "scheduler"}
_ASPECT: Example = {"name": "die", "minutes": 3, "register_m": 6.5}
PLANT: Example = {
    "site": {"name": "Sample site", "zone": "Europe/Berlin"},
    "calendar": {"shifts": [{"days": ["mon", "tue"], "from": "06:00", "to": "22:00"}]},
    "station_kinds": {
        "splice table": {"aspects": [{"name": "roll", "minutes": 1.5}]},
        "die": {"does": ["die-cut"], "aspects": [_ASPECT]},
        "rewinder": {},
    },
    "late_eur": 80,
    "late_eur_per_h": 20,
}
LINE: Example = {
    "id": "H1",
    "stations": [
        {"id": "splice", "kind": "splice table", "position_m": 0},
        {"id": "die", "kind": "die", "position_m": 24},
        {"id": "rewind", "kind": "rewinder", "position_m": 28},
    ],
    "web_width_mm": 340,
    "print_width_mm": 330,
    "max_speed_m_min": 60,
    "setup_speed_m_min": 20,
    "eur_per_h": 180,
    "stop_min": 0.5,
}
STATE: Example = {"loaded": {"die": {"die": "D-101"}}, "substrate": "PAPER-80", "width_mm": 330}

_RUNS: list[Example] = [{"job": "J-2101"}, {"job": "J-2104", "stations": ["inkjet", "flexo-2", "die"]}]
ORDER: Example = {
    "start": "2027-03-01T06:00:00+01:00",
    "goal": "balanced",
    "lines": [{"line": "H1", "runs": _RUNS}],
    "left_out": ["J-2103"],
}
COMPARED: Example = {
    "start": "2027-03-01T06:00:00+01:00",
    "orders": [
        {"name": "as it was", "lines": [{"line": "H1", "runs": _RUNS}]},
        {"name": "turned", "lines": [{"line": "H1", "runs": _RUNS[::-1]}]},
    ],
}
KEPT: Example = ORDER | {"name": "Monday, foil first"}
_SEQUENCE = "6a4f6a7e-0c1d-4c39-9d0e-1f0b7b9f2c55"
RELEASED: Example = {"sequence": _SEQUENCE, "lines": ["H1"], "note": "rush job J-2104 first"}
RELEASED_DESPITE: Example = {
    "sequence": _SEQUENCE,
    "note": "the roll that was used up is not needed before Tuesday",
    "despite_changes": True,
}
WITHDRAWN: Example = {"note": "the line is down until Wednesday"}
ASKED: dict[str, Example] = {
    "all open jobs": {"name": "Monday", "goal": "balanced", "seconds": 30},
    "a rush on one line": {
        "name": "H1 again",
        "which": {"due_before": "2027-03-02T06:00:00+01:00"},
        "lines": ["H1"],
        "start": "2027-03-01T10:00:00+01:00",
        "locks": [{"lock": "before", "job": "J-2101", "then": "J-2103"}],
        "keep": {"frozen_min": 120},
        "seconds": 5,
        "priority": "rush",
    },
    "some jobs, the same anywhere": {"jobs": ["J-2101", "J-2103"], "work": 200000, "seed": 7},
}

EVENTS = """\
retry: 2000

event: queued
data: {"number":1,"at":"2027-03-01T05:00:00Z","kind":"queued","told":""}
id: 1.0

event: started
data: {"number":2,"at":"2027-03-01T05:00:00.014Z","kind":"started","told":"by press-1, attempt 1"}
id: 2.0

event: progress
data: {"best_eur":1184.2,"left_out":0,"work":91000,"elapsed_s":0.5,"gap":0.21,"number":2,"bound_eur":935.5,\
"percent":1.7,"at":"2027-03-01T05:00:00.514Z"}
id: 2.2

event: finished
data: {"number":3,"at":"2027-03-01T05:00:31Z","kind":"finished","told":""}
id: 3.2

"""
