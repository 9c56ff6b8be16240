"""Why a job is in no round, in a sentence a planner can act on."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date

from scheduler.routing.checker import clock
from scheduler.routing.moves import MoveCheck, check_move, check_sequence
from scheduler.routing.problem import Job, Problem
from scheduler.routing.repair import days_with_room, likely_days
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Breach, LeftOut, Plan
from scheduler.routing.splitting import MOST_PARTS
from scheduler.routing.suitability import unsuitable_tanker, usable_windows
from scheduler.routing.travel_times import great_circle_metres

FARTHEST_JOB_METRES = 300_000
SWAPPED = " Latitude and longitude look swapped, of one or the other."
DAYS_LOOKED_AT = 3
PLACES_LOOKED_AT = 3


def screened(problem: Problem) -> tuple[list[Job], list[LeftOut]]:
    """The jobs that could be done by some tanker on some day, and the others with the reason."""
    possible, left_out = [], []
    for job in problem.jobs:
        fault = _fault_of(problem, job)
        if fault is None:
            possible.append(job)
        else:
            left_out.append(LeftOut(job=job.id, rule=fault[0], why=fault[1]))
    return possible, left_out


def _fault_of(problem: Problem, job: Job) -> tuple[str, str] | None:
    if job.hold_reason:
        return "hold", f"Held: {job.hold_reason}"
    return (
        _position_fault(problem, job)
        or _works_fault(problem, job)
        or _tanker_fault(problem, job)
        or _date_fault(problem, job)
        or _time_fault(problem, job)
    )


def _position_fault(problem: Problem, job: Job) -> tuple[str, str] | None:
    if job.latitude == 0 and job.longitude == 0:
        return "position", "Its position is 0, 0: put the lid on the map first."
    nearest = min(_metres_to(job, base.latitude, base.longitude) for base in problem.bases)
    if nearest <= FARTHEST_JOB_METRES:
        return None
    swapped = (
        min(
            float(great_circle_metres(job.longitude, job.latitude, base.latitude, base.longitude))
            for base in problem.bases
            if abs(job.longitude) <= 90
        )
        if abs(job.longitude) <= 90
        else nearest
    )
    hint = SWAPPED if swapped <= FARTHEST_JOB_METRES else ""
    return "position", f"It is {nearest / 1000:,.0f} km from the nearest base.{hint}"


def _works_fault(problem: Problem, job: Job) -> tuple[str, str] | None:
    """Every works so far off that its position must be wrong, unless loads may stand."""
    if not problem.works or any(tanker.may_end_loaded for tanker in problem.tankers):
        return None
    far = {each.id: _metres_to(job, each.latitude, each.longitude) for each in problem.works}
    nearest = min(far, key=lambda works: far[works])
    if far[nearest] <= FARTHEST_JOB_METRES:
        return None
    works = problem.works_by_id(nearest)
    turned = abs(works.longitude) <= 90 and _metres_to(job, works.longitude, works.latitude)
    hint = SWAPPED if turned and turned <= FARTHEST_JOB_METRES else ""
    return "position", f"The nearest works, {nearest}, is {far[nearest] / 1000:,.0f} km away.{hint}"


def _metres_to(job: Job, latitude: float, longitude: float) -> float:
    return float(great_circle_metres(job.latitude, job.longitude, latitude, longitude))


def _tanker_fault(problem: Problem, job: Job) -> tuple[str, str] | None:
    """No tanker at all could do it: say the commonest reason and each tanker's own."""
    faults = {tanker.id: unsuitable_tanker(job, tanker) for tanker in problem.tankers}
    named = {tanker: fault for tanker, fault in faults.items() if fault is not None}
    if len(named) < len(faults):
        return None
    rule = Counter(fault.rule for fault in named.values()).most_common(1)[0][0]
    told = [f"{tanker}: {fault.why}" for tanker, fault in named.items()]
    told = [line for line in told if "tied to" not in line] or told
    if rule == "too-large" and job.may_split:
        told.append(f"it would take more than {MOST_PARTS} visits")
    return rule, f"No tanker can do it ({'; '.join(told[:3])})."


def _date_fault(problem: Problem, job: Job) -> tuple[str, str] | None:
    first, last = problem.dates[0], problem.dates[-1]
    if job.earliest is not None and job.earliest > last:
        return "too-early", f"It may not be done before {job.earliest}."
    if job.latest is not None and job.latest < first:
        return "too-late", f"It had to be done by {job.latest}, before these days."
    if job.locked_on is not None and not first <= job.locked_on <= last:
        return "locked-day", f"It is tied to {job.locked_on}, which is not in these days."
    if not any(job.start_windows(on) for on in problem.dates):
        return "window", "None of its promised windows is in these days."
    return None


def _time_fault(problem: Problem, job: Job) -> tuple[str, str] | None:
    """Some tanker suits and some day is right, but never both with time to do it."""
    suiting = [each for each in problem.tankers if unsuitable_tanker(job, each) is None]
    if any(usable_windows(problem, job, each, on) for each in suiting for on in problem.dates):
        return None
    days = [on for on in problem.dates if job.start_windows(on)]
    working = [(each, on) for each in suiting for on in days if on not in each.off]
    names = ", ".join(sorted({each.id for each in suiting}))
    if not working:
        return "tanker-off", f"No tanker that can do it ({names}) works on {_listed(days)}."
    taking = [
        on
        for each, on in working
        if each.may_end_loaded or any(w.takes((job.waste,)) for w in problem.works_open_on(on))
    ]
    if not taking:
        return "works-closed", f"No works that takes its load is open on {_listed(days)}."
    tanker = working[0][0]
    hours = f"{clock(tanker.shift_start_seconds)} to {clock(tanker.latest_end_seconds)}"
    return "window", f"Its times on {_listed(days)} do not fit any shift ({tanker.id}: {hours})."


def _listed(days: Iterable[date]) -> str:
    days = sorted(set(days))
    if len(days) <= 2:
        return " and ".join(str(day) for day in days)
    return f"any of {len(days)} days from {days[0]} to {days[-1]}"


def explained(
    problem: Problem, roads: Roads, plan: Plan, job: Job, taken_off: Mapping[str, Breach]
) -> LeftOut:
    """Why a job that could be done is not in the plan: what it would take to add it."""
    days = likely_days(problem, roads, plan, job)
    roomy = days_with_room(problem, roads, plan, job)[:DAYS_LOOKED_AT]
    checks = [
        check_move(
            problem,
            plan,
            table=roads.table,
            job=job.id,
            to_tanker=tanker,
            on=on,
            roads=roads,
            most_places=PLACES_LOOKED_AT if roomy else 1,
        )
        for tanker, on in roomy or days[:1]
    ]
    possible = [check for check in checks if check.possible]
    if possible and not job.required:
        cheapest = min(possible, key=lambda check: check.cost_change_pence)
        return LeftOut(job=job.id, rule="not-worth-it", why=_not_worth(job, cheapest))
    if _never_fits_alone(problem, roads, job, days):
        tanker, on = days[0]
        alone = check_sequence(
            problem, table=roads.table, tanker=tanker, on=on, job_ids=[job.id], roads=roads
        )
        why = f"Even alone on {tanker} it does not fit: {alone.breaches[0].why}"
        return LeftOut(job=job.id, rule="too-far", why=why)
    if checks:
        least = min(checks, key=lambda check: (len(check.breaches), check.cost_change_pence))
        return LeftOut(job=job.id, rule="full", why=_full(least))
    breach = taken_off.get(job.id)
    why = breach.why if breach else "No tanker-day has room for it."
    return LeftOut(job=job.id, rule="full", why=why)


def _not_worth(job: Job, check: MoveCheck) -> str:
    on = check.rounds[0]
    return (
        f"Waiting costs {job.value_pence / 100:.2f} and doing it at least "
        f"{check.cost_change_pence / 100:.2f} ({on.tanker} on {on.on})."
    )


def _full(check: MoveCheck) -> str:
    on = check.rounds[0]
    if check.possible:
        return f"{on.tanker} on {on.on} could take it: add it by hand or plan for longer."
    return f"Full. On {on.tanker} on {on.on}: {check.breaches[0].why}"


def _never_fits_alone(
    problem: Problem, roads: Roads, job: Job, days: list[tuple[str, date]]
) -> bool:
    tried = dict(reversed(days))
    return bool(tried) and not any(
        not check_sequence(
            problem, table=roads.table, tanker=tanker, on=on, job_ids=[job.id], roads=roads
        ).breaches
        for tanker, on in tried.items()
    )
