"""Reasons in a press lead's words: what holds a run, where else it could go, why it is late, what differs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.contracts.reasons import (
    Awaited,
    CostPart,
    Difference,
    Elsewhere,
    Hold,
    LateReasons,
    Reasons,
    RunReasons,
)
from app.contracts.sequences import Goal
from app.documents.figures import cents, tenths
from app.drawings.labels import day_and_clock

NAMED = 3
"""How many runs, jobs or causes a sentence names."""
CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class ToldRun:
    """A run's reasons as cells of a table."""

    number: str
    job: str
    starts: str
    elsewhere: str
    earlier: str
    make_ready: str


def told_runs(reasons: Reasons, line: str) -> tuple[ToldRun, ...]:
    """The runs of a line, in order."""
    return tuple(_told_run(run, reasons.goal) for run in reasons.runs if run.line == line)


def _told_run(run: RunReasons, goal: Goal) -> ToldRun:
    return ToldRun(
        number=str(run.number),
        job=run.job,
        starts=hold_text(run.hold, is_behind=True),
        elsewhere=_cheapest_text(run, goal),
        earlier=_earlier_text(run, goal),
        make_ready=_make_ready_text(run),
    )


def hold_text(hold: Hold, *, is_behind: bool = False) -> str:
    """What a start waits for; `is_behind`: the reader sees which run is before it."""
    at = day_and_clock(hold.until)
    match hold.awaited:
        case Awaited.LINE:
            return f"line free {at}, behind {hold.job}" if hold.job and not is_behind else f"line free {at}"
        case Awaited.READY:
            return f"artwork, plates, die ready {at}"
        case Awaited.STOCK:
            return f"enough {hold.substrate} {hold.width_mm:f} mm from {at}"
        case Awaited.TOOL:
            return f"{hold.tool} in use{_by(hold.job)} until {at}"
        case Awaited.LOCK:
            return f"lock: {hold.lock}{f' (until {at})' if hold.job else ''}"
        case Awaited.OPENING:
            return f"line opens {at}"
        case Awaited.STARTED:
            return "had started before the plan"


def _by(job: str | None) -> str:
    return f" by {job}" if job else ""


def _cheapest_text(run: RunReasons, goal: Goal) -> str:
    if run.hold.awaited is Awaited.STARTED:
        return "stays"
    if run.cheapest is None:
        return "none: every other breaks a lock or leaves a job out" if run.places else "there is no other"
    place = run.cheapest
    return f"{extra_text(place, goal)} {place_text(place, run.line)}{_consequences(place)}"


def _earlier_text(run: RunReasons, goal: Goal) -> str:
    if run.hold.awaited is Awaited.STARTED:
        return ""
    if run.earlier is not None:
        if run.earlier == run.cheapest:
            return "the same"
        extra, where = extra_text(run.earlier, goal), place_text(run.earlier, run.line)
        return f"{extra} {where}{_consequences(run.earlier)}"
    if run.forbidden is not None:
        return f"no: {_forbidden_text(run.forbidden)}"
    if run.hold_ahead is not None and run.hold_ahead.awaited is not Awaited.LINE:
        return f"no: {hold_text(run.hold_ahead)}"
    return "no: it ends soonest here"


def _forbidden_text(place: Elsewhere) -> str:
    if place.broken_locks:
        return f"lock: {'; '.join(place.broken_locks)}"
    return f"{_listed(place.left_out)} would not run"


def _consequences(place: Elsewhere) -> str:
    """Who is late only then, and who no longer; which locks are kept and broken then."""
    told = []
    if place.mended_locks:
        told.append(f"keeps: {'; '.join(place.mended_locks)}")
    if place.broken_locks:
        told.append(f"breaks: {'; '.join(place.broken_locks)}")
    if place.left_out:
        told.append(f"left out then: {_few(place.left_out)}")
    if place.late:
        told.append(f"late then: {_few(place.late)}")
    if place.on_time:
        told.append(f"on time then: {_few(place.on_time)}")
    return f" ({'; '.join(told)})" if told else ""


def place_text(place: Elsewhere, line: str | None = None) -> str:
    """Where a run goes; its line where that is another than the one given."""
    where = "first" if place.behind is None else f"behind {place.behind}"
    return where if place.line == line else f"on {place.line} {where}"


def extra_text(place: Elsewhere, goal: Goal) -> str:
    """What a place costs more: as the goal weighs it, and in plain money without running if that differs."""
    weighed, plain = place.extra_weighed_eur, place.extra_controllable_eur
    if goal is not Goal.BALANCED:
        return f"{signed(plain)} € ({signed(weighed)} weighed)"
    if abs(weighed - plain) < CENT / 2:
        return f"{signed(weighed)} €"
    return f"{signed(weighed)} € ({signed(plain)} without running)"


def signed(value: Decimal, shown: Callable[[Decimal], str] = cents) -> str:
    """A figure with its sign, money to the cent; ±0.00 where nothing is seen of it."""
    text = shown(abs(value))
    if text == shown(Decimal(0)):
        return f"±{text}"
    return f"{'−' if value < 0 else '+'}{text}"


def _make_ready_text(run: RunReasons) -> str:
    """How much of its make-ready is forced, and who before it would spare most of the rest."""
    if not run.changes:
        return "none"
    forced = f"{tenths(run.forced_min)} of {tenths(run.setup_min)} min forced"
    if run.most_sparing is None:
        return forced
    return f"{forced}; {run.most_sparing.job} before it would spare {tenths(run.most_sparing.minutes)}"


def reasons_sentences(reasons: Reasons) -> Iterator[str]:
    """What holds for the order as a whole."""
    cheaper = [run for run in reasons.runs if run.cheapest and run.cheapest.extra_weighed_eur < 0]
    tried = f"{reasons.extent}; at most {reasons.most_places:,} of a run"
    if cheaper:
        best = min(
            (run.cheapest for run in cheaper if run.cheapest), key=lambda place: place.extra_weighed_eur
        )
        yield (
            f"{_runs(len(cheaper))} would be cheaper elsewhere, each by itself; most of all "
            f"{best.job} {place_text(best)}: {extra_text(best, reasons.goal)}."
        )
    else:
        yield "No single run would be cheaper at a place that was costed."
    yield f"Costed: {tried}."
    if reasons.goal is not Goal.BALANCED:
        yield f"Places are compared as the goal {reasons.goal} weighs them; money without “weighed” is plain."


def late_sentences(late: LateReasons, goal: Goal) -> Iterator[str]:
    """Why a job is late, and what would help."""
    yield (
        f"{late.job}, number {late.number} on {late.line}, ends {day_and_clock(late.end)}, "
        f"{tenths(late.late_min)} min after {day_and_clock(late.press_due)}."
    )
    yield _alone_sentence(late)
    if not late.late_even_alone:
        yield from _before_sentences(late)
    yield _remedy_sentence(late, goal)


def _alone_sentence(late: LateReasons) -> str:
    alone = late.alone
    if alone is None:
        return (
            "By itself it cannot run." if late.setup_min or late.before else "It had started before the plan."
        )
    takes = f"{tenths(alone.setup_min)} min changeover and {tenths(alone.run_min)} min running"
    if late.late_even_alone:
        return (
            f"It would be late even first and alone: on {alone.line} it would end {day_and_clock(alone.end)} "
            f"({hold_text(alone.hold)}; {takes})."
        )
    waits = "" if alone.hold.awaited is Awaited.LINE else f" ({hold_text(alone.hold)})"
    return f"First and alone it would end {day_and_clock(alone.end)} on {alone.line}{waits}."


def _before_sentences(late: LateReasons) -> Iterator[str]:
    ahead = late.before[len(late.before) - (len(late.chain) - 1) :] if len(late.chain) > 1 else ()
    if late.chain_hold.awaited is not Awaited.LINE:
        first = "It" if not ahead else f"{late.chain[0]}, the first of the {len(late.chain)} runs up to it,"
        yield f"{first} waits: {hold_text(late.chain_hold)}."
    if ahead:
        running = sum((spent.run_min for spent in ahead), Decimal(0))
        changing = sum((spent.setup_min for spent in ahead), Decimal(0))
        longest = sorted(ahead, key=lambda spent: -spent.run_min)[:NAMED]
        named = _listed([f"{spent.job} {tenths(spent.run_min)}" for spent in longest])
        most = "" if len(ahead) == 1 else f" (longest {named})"
        yield (
            f"Directly before it {_runs(len(ahead)).lower()} with {tenths(running)} min of running{most} and "
            f"{tenths(changing)} min of changeovers; its own take {tenths(late.run_min)} and "
            f"{tenths(late.setup_min)} min."
        )
    if late.closed_min:
        yield f"{late.line} is closed for {tenths(late.closed_min)} min until then."


def _remedy_sentence(late: LateReasons, goal: Goal) -> str:
    if late.remedy is not None:
        place = late.remedy
        others = tuple(job for job in place.on_time if job != late.job)
        also = f"; {_few(others)} too" if others else ""
        instead = f"; late instead: {_few(place.late)}" if place.late else "; nobody is late instead"
        return (
            f"The cheapest single move that makes it on time: {_put_text(late, place, goal)}{also}{instead}."
            f"{_harmless_text(late, goal)}"
        )
    none = f"None of {late.moves:,} single moves costed makes it on time"
    if late.soonest is None:
        return f"{none} or lets it end earlier."
    end = day_and_clock(late.soonest_end)
    return f"{none}; the one after which it ends soonest, {end}: {_put_text(late, late.soonest, goal)}."


def _put_text(late: LateReasons, place: Elsewhere, goal: Goal) -> str:
    whose = "it" if place.job == late.job else place.job
    return f"put {whose} {place_text(place, late.line)}, {extra_text(place, goal)}"


def _harmless_text(late: LateReasons, goal: Goal) -> str:
    if late.harmless == late.remedy:
        return ""
    if late.harmless is None:
        return " None does without making another late."
    return f" Without making another late: {_put_text(late, late.harmless, goal)}."


def difference_sentences(difference: Difference) -> Iterator[str]:
    """What an order costs more or less than another, and by what."""
    total = difference.controllable_eur
    if not difference.parts:
        yield f"{_first_capital(difference.order)} costs the same as {difference.other}, part by part."
        return
    more = "as much as" if not total else f"{cents(abs(total))} € {'more' if total > 0 else 'less'} than"
    causes = _by_cause(difference.parts)
    yield (
        f"{_first_capital(difference.order)} costs {more} {difference.other}, without running: "
        f"{_listed([_cause_text(*cause) for cause in causes[: 2 * NAMED]])}."
    )
    biggest = [part for part in difference.parts if part.cause != RUNNING][:NAMED]
    if biggest:
        yield f"Biggest single parts: {_listed([part_text(part) for part in biggest])}."
    for jobs, whose in ((difference.only_here, difference.order), (difference.only_there, difference.other)):
        if jobs:
            yield f"Only {whose} runs {_few(jobs)}: the two do not compare like with like."


RUNNING = "running"


def _by_cause(parts: Iterable[CostPart]) -> list[tuple[str, Decimal, Decimal, Decimal, int]]:
    """Money, metres, minutes and runs of every cause but running, most money first."""
    sums: dict[str, tuple[Decimal, Decimal, Decimal, int]] = {}
    for part in parts:
        if part.cause != RUNNING:
            eur, length_m, time_min, runs = sums.get(part.cause, (Decimal(0), Decimal(0), Decimal(0), 0))
            sums[part.cause] = (
                eur + part.more_eur,
                length_m + (part.more_m or 0),
                time_min + (part.more_min or 0),
                runs + (part.more_runs or 0),
            )
    told = [(cause, *amounts) for cause, amounts in sums.items()]
    return sorted(told, key=lambda one: (-abs(one[1]), one[0]))


def _cause_text(cause: str, eur: Decimal, length_m: Decimal, time_min: Decimal, runs: int) -> str:
    return f"{cause} {signed(eur)} €{_amount_text(length_m, time_min, runs)}"


def part_text(part: CostPart) -> str:
    """One part of a difference: make-ready at flexo-2 of H1 −26.70 € (−14.6 min)."""
    amount = _amount_text(part.more_m, part.more_min, part.more_runs)
    return f"{part_name(part)} {signed(part.more_eur)} €{amount}"


def part_name(part: CostPart) -> str:
    """What a part is about."""
    if part.job is not None:
        return f"{part.cause} of {part.job}"
    if part.kind is not None:
        return f"{part.kind} of {part.substrate} {part.width_mm:f} mm"
    if part.station is not None:
        return f"{part.cause} at {part.station} of {part.line}"
    return part.cause if part.line is None else f"{part.cause} on {part.line}"


def _amount_text(length_m: Decimal | None, time_min: Decimal | None, runs: int | None) -> str:
    if runs:
        return runs_text(runs)
    for amount, unit in ((length_m, "m"), (time_min, "min")):
        if amount:
            return f" ({signed(amount, tenths)} {unit})"
    return ""


def runs_text(runs: int | None) -> str:
    """How many runs more or fewer are moved."""
    return f" ({'−' if runs < 0 else '+'}{abs(runs)})" if runs else ""


def _few(jobs: Sequence[str]) -> str:
    """The first jobs by name, the others by number."""
    if len(jobs) <= NAMED + 1:
        return _listed(jobs)
    return f"{', '.join(jobs[:NAMED])} and {len(jobs) - NAMED} more"


def _listed(texts: Iterable[str]) -> str:
    *before, last = texts
    return f"{', '.join(before)} and {last}" if before else last


def _runs(count: int) -> str:
    return "One run" if count == 1 else f"{count} runs"


def _first_capital(words: str) -> str:
    return words[:1].upper() + words[1:] if words.startswith("this ") else words
