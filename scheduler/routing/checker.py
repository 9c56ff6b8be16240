"""The independent checker: every rule of a round, looked at again from the facts alone.

It shares no code with the model or the timing: it reads the stops of a round, the problem
and the travel table, and recomputes loads, clocks, driving spells and places by itself. A
plan that it passes can be driven; what it finds is named with the tanker, day and job.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import pairwise

from scheduler.routing.driver_rules import driver_breaches
from scheduler.routing.driver_weeks import week_breaches
from scheduler.routing.problem import Job, Problem, Tanker, Works
from scheduler.routing.rounds import Breach, Round, Stop
from scheduler.routing.travel_times import TravelTable


def clock(seconds: int) -> str:
    """A time of day as people write it."""
    return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}"


def check_plan(problem: Problem, table: TravelTable, rounds: Iterable[Round]) -> list[Breach]:
    """Every breach of every round, and jobs or tanker-days planned twice."""
    rounds = list(rounds)
    breaches: list[Breach] = []
    row = table.index()
    for round_ in rounds:
        breaches += check_round(problem, table, round_, row)
    breaches += _planned_twice(rounds)
    breaches += week_breaches(problem, rounds)
    return breaches


def check_round(
    problem: Problem, table: TravelTable, round_: Round, row: dict[str, int] | None = None
) -> list[Breach]:
    """Every breach of one round."""
    row = table.index() if row is None else row
    tanker = problem.tanker(round_.tanker)
    found = [
        *_day_breaches(problem, tanker, round_),
        *_place_breaches(problem, tanker, round_),
        *_driving_breaches(table, row, round_),
        *_load_breaches(problem, tanker, round_),
        *_works_breaches(problem, round_),
        *_shift_breaches(problem, tanker, round_),
        *driver_breaches(problem, tanker, round_),
    ]
    for stop in round_.stops:
        if stop.kind == "job":
            job = problem.job(stop.id)
            found += _promise_breaches(job, round_.on, stop)
            found += _access_breaches(job, tanker)
    return [
        Breach(rule=each.rule, why=each.why, tanker=tanker.id, on=round_.on, job=each.job)
        for each in found
    ]


def _planned_twice(rounds: Sequence[Round]) -> Iterator[Breach]:
    jobs = Counter(job for round_ in rounds for job in round_.job_ids)
    for job, times in jobs.items():
        if times > 1:
            yield Breach(rule="job-twice", why=f"Job {job} is planned {times} times.", job=job)
    days = Counter((round_.tanker, round_.on) for round_ in rounds)
    for (tanker, on), times in days.items():
        if times > 1:
            why = f"{tanker} has {times} rounds on {on}."
            yield Breach(rule="tanker-twice", why=why, tanker=tanker, on=on)


def _day_breaches(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    if round_.on in tanker.off:
        yield Breach(rule="tanker-off", why=f"{tanker.id} is off on {round_.on}.")
    if round_.on not in problem.dates:
        yield Breach(rule="outside-horizon", why=f"{round_.on} is not a day of this plan.")


def _place_breaches(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    start = problem.start_of(tanker.id, round_.on)
    first = tanker.base if start is None else start.place_id
    if len(round_.stops) < 2 or round_.stops[0].id != first or round_.stops[-1].id != tanker.base:
        yield Breach(rule="base", why=f"The round must run from {first} to {tanker.base}.")


def _driving_breaches(table: TravelTable, row: dict[str, int], round_: Round) -> Iterator[Breach]:
    """No leg faster or shorter than the table, and no clock running backwards."""
    for before, stop in pairwise(round_.stops):
        leg = row[before.id], row[stop.id]
        seconds, metres = int(table.seconds[leg]), int(table.metres[leg])
        if stop.arrive_seconds < before.depart_seconds + seconds:
            why = f"{stop.id} cannot be reached from {before.id} by {clock(stop.arrive_seconds)}."
            yield Breach(rule="driving-time", why=why, job=_job_id(stop))
        if stop.drive_seconds != seconds or stop.metres != metres:
            why = f"The leg to {stop.id} is not the one of the travel table."
            yield Breach(rule="leg", why=why, job=_job_id(stop))
        if not stop.arrive_seconds <= stop.start_seconds <= stop.depart_seconds:
            why = f"The times at {stop.id} run backwards."
            yield Breach(rule="clock", why=why, job=_job_id(stop))


def _job_id(stop: Stop) -> str:
    return stop.id if stop.kind == "job" else ""


def _load_breaches(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """The tank never over its capacity, the figures shown true, and empty at the end."""
    start = problem.start_of(tanker.id, round_.on)
    load = 0 if start is None else start.load_litres
    collected = 0 if start is None else start.litres_today
    jobs = 0 if start is None else start.jobs_today
    for stop in round_.stops:
        if stop.kind == "job":
            litres = problem.job(stop.id).litres
            load, collected, jobs = load + litres, collected + litres, jobs + 1
        elif stop.kind == "tip":
            load = 0
        if load > tanker.capacity_litres:
            why = f"{load:,} L on board after {stop.id}; {tanker.id} holds {tanker.capacity_litres:,}."
            yield Breach(rule="capacity", why=why, job=_job_id(stop))
        if load != stop.load_after_litres:
            why = f"{load:,} L are on board after {stop.id}, not {stop.load_after_litres:,}."
            yield Breach(rule="load-shown", why=why, job=_job_id(stop))
    if load and not tanker.may_end_loaded:
        yield Breach(rule="ends-loaded", why=f"{tanker.id} comes home with {load:,} L on board.")
    yield from _daily_cap_breaches(tanker, collected, jobs)


def _daily_cap_breaches(tanker: Tanker, collected: int, jobs: int) -> Iterator[Breach]:
    if tanker.max_litres_per_day is not None and collected > tanker.max_litres_per_day:
        why = f"{collected:,} L in a day; {tanker.id} may collect {tanker.max_litres_per_day:,}."
        yield Breach(rule="litres-a-day", why=why)
    if tanker.max_jobs_per_day is not None and jobs > tanker.max_jobs_per_day:
        why = f"{jobs} jobs in a day; {tanker.id} may do {tanker.max_jobs_per_day}."
        yield Breach(rule="jobs-a-day", why=why)


def _works_breaches(problem: Problem, round_: Round) -> Iterator[Breach]:
    """Tips only where and while the works is open, and only what it accepts."""
    start = problem.start_of(round_.tanker, round_.on)
    on_board = set() if start is None else set(start.loaded_wastes)
    for stop in round_.stops:
        if stop.kind == "job":
            on_board.add(problem.job(stop.id).waste)
        if stop.kind != "tip":
            continue
        works = problem.works_by_id(stop.id)
        if round_.on in works.closed_on:
            yield Breach(rule="works-closed", why=f"{works.id} is closed on {round_.on}.")
        opens, closes = _hours_on(works, round_.on)
        if stop.start_seconds < opens or stop.depart_seconds > closes:
            why = (
                f"Tipping at {works.id} from {clock(stop.start_seconds)} to "
                f"{clock(stop.depart_seconds)} is outside its hours."
            )
            yield Breach(rule="works-hours", why=why)
        if stop.depart_seconds - stop.start_seconds < works.tipping_seconds + works.queue_seconds:
            yield Breach(rule="tipping-time", why=f"Too little time to tip at {works.id}.")
        if works.accepts and not on_board <= works.accepts:
            yield Breach(rule="waste", why=f"{works.id} does not accept what is on board.")
        on_board = set()


def _hours_on(works: Works, day: date) -> tuple[int, int]:
    """Opening and closing time of a day; a weekday on which it stays shut has no time at all."""
    if not works.hours:
        return works.opens_seconds, works.closes_seconds
    return works.hours[day.weekday()] or (0, 0)


def _shift_breaches(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """Inside the shift with its overtime, and no longer on duty than allowed."""
    first, last = round_.stops[0], round_.stops[-1]
    if first.depart_seconds < tanker.shift_start_seconds:
        why = f"{tanker.id} would leave before {clock(tanker.shift_start_seconds)}."
        yield Breach(rule="shift", why=why)
    closing = tanker.shift_end_seconds + tanker.overtime_seconds
    if last.arrive_seconds > closing:
        minutes = (last.arrive_seconds - closing + 59) // 60
        why = f"{tanker.id} would be back {minutes} min after {clock(closing)}."
        yield Breach(rule="shift", why=why)
    start = problem.start_of(tanker.id, round_.on)
    on_duty = first.depart_seconds
    if start is not None:
        on_duty = start.on_duty_from(on_duty)
        if first.depart_seconds < start.at_seconds:
            why = f"{tanker.id} cannot leave before {clock(start.at_seconds)}."
            yield Breach(rule="shift", why=why)
    shift = tanker.shift_end_seconds - tanker.shift_start_seconds
    paid = shift if tanker.max_duty_seconds is None else tanker.max_duty_seconds
    allowed = paid + tanker.overtime_seconds
    if last.arrive_seconds - on_duty > allowed:
        minutes = (last.arrive_seconds - on_duty - allowed + 59) // 60
        yield Breach(rule="duty", why=f"{tanker.id} would be on duty {minutes} min too long.")


def _promise_breaches(job: Job, on: date, stop: Stop) -> Iterator[Breach]:
    """The right day, inside a promised window, long enough, and by the tanker it is tied to."""
    at = f"Job {job.id} at {clock(stop.start_seconds)} on {on}"
    if job.hold_reason:
        yield Breach(rule="hold", why=f"Job {job.id} is held: {job.hold_reason}", job=job.id)
    if job.earliest is not None and on < job.earliest:
        yield Breach(rule="too-early", why=f"{at} is before {job.earliest}.", job=job.id)
    if job.latest is not None and on > job.latest:
        yield Breach(rule="too-late", why=f"{at} is after {job.latest}.", job=job.id)
    if job.locked_on is not None and on != job.locked_on:
        yield Breach(rule="locked-day", why=f"{at} is not on {job.locked_on}.", job=job.id)
    kept = any(
        window.start.date() == on
        and window.from_seconds <= stop.start_seconds <= window.until_seconds
        for window in job.windows
    )
    if job.windows and not kept:
        yield Breach(rule="window", why=f"{at} is outside every promised window.", job=job.id)
    if not job.day_from_seconds <= stop.start_seconds <= job.day_until_seconds:
        yield Breach(rule="daily-hours", why=f"{at} is outside its daily hours.", job=job.id)
    if stop.depart_seconds - stop.start_seconds < job.service_seconds:
        yield Breach(rule="service-time", why=f"{at} is given too little time.", job=job.id)


def _access_breaches(job: Job, tanker: Tanker) -> Iterator[Breach]:
    """Lane, height, weight, hose, waste, and the tanker a job is tied to."""
    limits = (
        ("lane-width", tanker.width_m, job.max_width_m, "wide"),
        ("height", tanker.height_m, job.max_height_m, "high"),
        ("weight", tanker.gross_tonnes, job.max_tonnes, "heavy"),
        ("hose", job.hose_needed_m, tanker.hose_m, "far from the hose"),
    )
    for rule, has, allowed, word in limits:
        if has is not None and allowed is not None and has > allowed:
            why = f"Job {job.id} is too {word} for {tanker.id}: {has:g} against {allowed:g}."
            yield Breach(rule=rule, why=why, job=job.id)
    if tanker.wastes and job.waste not in tanker.wastes:
        why = f"{tanker.id} may not carry the waste of job {job.id}."
        yield Breach(rule="tanker-waste", why=why, job=job.id)
    if job.locked_tanker is not None and job.locked_tanker != tanker.id:
        why = f"Job {job.id} is tied to {job.locked_tanker}."
        yield Breach(rule="locked-tanker", why=why, job=job.id)
