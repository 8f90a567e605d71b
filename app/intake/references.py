"""Does what a plant file names exist, once, and in a sensible place?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from app.contracts.base import at_site
from app.contracts.contradiction import Contradiction
from app.contracts.jobs import DIE_CUT
from app.contracts.known_names import unknown
from app.contracts.plant import AspectName, Calendar, Line, LoadedTooling, Plant, Station
from app.contracts.tool_rules import cylinder_contradictions, cylinders_of, die_contradictions
from app.errors import Fault
from app.intake.findings import Findings
from app.intake.roll_checks import check_rolls

Found = Iterator[Fault]


def check_references(plant: Plant, file: str, findings: Findings) -> None:
    """Note every name that is unknown or doubled, and every value that contradicts another."""
    findings.faults += _Check(plant, file).faults()
    check_rolls(plant, file, findings)


def check_present(plant: Plant, line: Line, place: str, file: str, findings: Findings) -> None:
    """Note every name in a line's present state that is unknown, and what contradicts itself."""
    findings.faults += _Check(plant, file).present(place, line)


@dataclass(frozen=True)
class _Check:
    plant: Plant
    file: str

    def faults(self) -> Found:
        plant = self.plant
        yield from self._doubled("lines", "id", (line.id for line in plant.lines))
        yield from self._doubled("substrates", "code", (substrate.code for substrate in plant.substrates))
        yield from self._doubled("dies", "id", (die.id for die in plant.dies))
        yield from self._doubled("cylinders", "id", (cylinder.id for cylinder in plant.cylinders))
        yield from self._doubled("consumables", "id", (consumable.id for consumable in plant.consumables))
        for idx, substrate in enumerate(plant.substrates):
            widths = (str(stocked.width_mm) for stocked in substrate.widths)
            yield from self._doubled(f"substrates[{idx}].widths", "width_mm", widths)
        yield from self._tools()
        yield from self._wash_ups()
        yield from self._calendar("calendar", plant.calendar)
        for name, kind in plant.station_kinds.items():
            aspects = (aspect.name for aspect in kind.aspects or ())
            yield from self._doubled(f"station_kinds.{name}.aspects", "name", aspects)
        for idx, line in enumerate(plant.lines):
            yield from self._line(f"lines[{idx}]", line)

    def _fault(self, field: str, value: object, right: str) -> Fault:
        return Fault(right, file=self.file, field=field, value=None if value is None else str(value))

    def _doubled(self, place: str, field: str, values: Iterable[str]) -> Found:
        seen: set[str] = set()
        for idx, value in enumerate(values):
            if value in seen:
                yield self._fault(f"{place}[{idx}].{field}", value, "should be there once only")
            seen.add(value)

    def _known(self, field: str, value: str | None, what: str, known: Iterable[str]) -> Found:
        names = set(known)
        if value is not None and value not in names:
            yield self._fault(field, value, unknown(what, value, names))

    def _tools(self) -> Found:
        cylinders = {cylinder.id: cylinder for cylinder in self.plant.cylinders}
        for idx, cylinder in enumerate(self.plant.cylinders):
            yield from self._told(f"cylinders[{idx}]", cylinder_contradictions(cylinder))
        for idx, die in enumerate(self.plant.dies):
            for field, named in cylinders_of(die, cylinders):
                yield self._fault(f"dies[{idx}].{field}", named, unknown("cylinder", named, cylinders))
            yield from self._told(f"dies[{idx}]", die_contradictions(die))

    def _told(self, place: str, found: Iterable[Contradiction]) -> Found:
        for each in found:
            yield self._fault(f"{place}.{each.field}", each.value, each.right)

    def _wash_ups(self) -> Found:
        consumables = [consumable.id for consumable in self.plant.consumables]
        pairs: set[tuple[str, str]] = set()
        for idx, wash_up in enumerate(self.plant.wash_ups):
            yield from self._known(f"wash_ups[{idx}].from", wash_up.before, "consumable", consumables)
            yield from self._known(f"wash_ups[{idx}].to", wash_up.after, "consumable", consumables)
            pair = (wash_up.before, wash_up.after)
            if pair in pairs:
                yield self._fault(f"wash_ups[{idx}]", " → ".join(pair), "should be there once only")
            pairs.add(pair)

    def _calendar(self, place: str, calendar: Calendar) -> Found:
        zone = self.plant.site.zone_info
        for idx, closure in enumerate(calendar.closures):
            if at_site(closure.end, zone) <= at_site(closure.start, zone):
                yield self._fault(
                    f"{place}.closures[{idx}].to", closure.end.isoformat(), "should be later than from"
                )

    def _line(self, place: str, line: Line) -> Found:
        yield from self._doubled(f"{place}.stations", "id", (station.id for station in line.stations))
        yield from self._web_order(place, line)
        for idx, station in enumerate(line.stations):
            yield from self._station(f"{place}.stations[{idx}]", station)
        if line.calendar is not None:
            yield from self._calendar(f"{place}.calendar", line.calendar)
        if line.cold_after_min is not None and line.cold_after_min < line.hold_min:
            yield self._fault(
                f"{place}.cold_after_min",
                line.cold_after_min,
                f"should be at least hold_min, {line.hold_min}",
            )
        zone = line.pull_back_zone
        if zone is not None and zone.to_m < zone.from_m:
            yield self._fault(
                f"{place}.pull_back_zone.to_m", zone.to_m, f"should be at least from_m, {zone.from_m}"
            )
        if zone is None and line.pull_back_m > 0:
            yield self._fault(f"{place}.pull_back_zone", None, "must be given beside pull_back_m")
        yield from self.present(f"{place}.present", line)

    def _web_order(self, place: str, line: Line) -> Found:
        first = line.stations[0]
        if first.position_m != 0:
            yield self._fault(
                f"{place}.stations[0].position_m",
                first.position_m,
                "should be 0: the splice table comes first",
            )
        for idx in range(1, len(line.stations)):
            before, station = line.stations[idx - 1], line.stations[idx]
            if station.position_m < before.position_m:
                yield self._fault(
                    f"{place}.stations[{idx}].position_m",
                    station.position_m,
                    f"should be at least the {before.position_m} m of the station before, in web order",
                )

    def _station(self, place: str, station: Station) -> Found:
        yield from self._known(f"{place}.kind", station.kind, "station kind", self.plant.station_kinds)
        aspects = (aspect.name for aspect in station.aspects or ())
        yield from self._doubled(f"{place}.aspects", "name", aspects)

    def present(self, place: str, line: Line) -> Found:
        present = line.present
        stations = {station.id: station for station in line.stations}
        if (present.substrate is None) != (present.width_mm is None):
            missing = "width_mm" if present.width_mm is None else "substrate"
            yield self._fault(f"{place}.{missing}", None, "substrate and width_mm must be given together")
        codes = (substrate.code for substrate in self.plant.substrates)
        yield from self._known(f"{place}.substrate", present.substrate, "substrate", codes)
        for idx, station_id in enumerate(present.thrown_off):
            yield from self._known(f"{place}.thrown_off[{idx}]", station_id, "station", stations)
        for station_id, tooling in present.loaded.items():
            yield from self._known(f"{place}.loaded.{station_id}", station_id, "station", stations)
            if station_id in stations:
                yield from self._loaded(f"{place}.loaded.{station_id}", stations[station_id], tooling)

    def _loaded(self, place: str, station: Station, tooling: LoadedTooling) -> Found:
        aspects = self.plant.aspects_of(station)
        known: dict[str, tuple[str, Iterable[str]]] = {
            "cylinder": ("cylinder", (cylinder.id for cylinder in self.plant.cylinders)),
            "die": ("die", (die.id for die in self.plant.dies)),
            "consumable": ("consumable", (consumable.id for consumable in self.plant.consumables)),
        }
        for field, value in tooling.by_field().items():
            aspect = AspectName(field.removesuffix("_mm"))
            if aspect not in aspects:
                yield self._fault(
                    f"{place}.{field}",
                    value,
                    f"nothing of the kind can be loaded at a {station.kind} station",
                )
            if field in known:
                yield from self._known(f"{place}.{field}", value, *known[field])


def layer_kinds(plant: Plant) -> set[str]:
    """Every kind of layer that some station kind or station of the plant is made for."""
    traits = [*plant.station_kinds.values(), *(station for line in plant.lines for station in line.stations)]
    return {kind for trait in traits for kind in trait.does or ()} - {DIE_CUT}
