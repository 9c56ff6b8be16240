"""From a model to the best driving orders found, and from orders back to a first solution."""

from collections.abc import Sequence
from dataclasses import replace

from pyvrp import Activity, ActivityType, Route, Solution

from scheduler.routing.errors import NoTankers
from scheduler.routing.model import BreakClient, JobClient, Model
from scheduler.routing.processes import Search, search_on_cores, search_side_by_side
from scheduler.routing.search import UNITS_PER_PENNY, Effort, Watch, cost_of
from scheduler.routing.tanker_days import TankerDay
from scheduler.routing.timing import Visit

Order = tuple[TankerDay, tuple[Visit, ...]]


def search(
    model: Model,
    effort: Effort,
    *,
    warm: Sequence[Order] = (),
    watch: Watch | None = None,
) -> tuple[list[Order], float]:
    """The best driving orders found, by tanker-day, and their cost to the solver in pence."""
    watch = watch or Watch()
    if model.data is None or not model.clients:
        return [], 0.0
    initial = warm_solution(model, warm) if warm else None
    best = search_on_cores(model.data, effort, initial=initial, watch=watch)
    return _orders_of(model, best), cost_of(best) / UNITS_PER_PENNY


def search_apart(
    models: Sequence[Model], effort: Effort, *, warm: Sequence[Sequence[Order]], watch: Watch
) -> list[list[Order] | None]:
    """Several models searched at the same time, each in one process; None where it failed."""
    tasks = []
    for number, (model, orders) in enumerate(zip(models, warm, strict=True)):
        if model.data is None:
            message = "A model without tankers has nothing to search."
            raise NoTankers(message, field="tankers")
        alone = replace(effort, processes=1, first_way=effort.first_way + number)
        tasks.append(Search(model.data, alone, warm_solution(model, orders) if orders else None))
    found = search_side_by_side(tasks, watch)
    return [
        None if solution is None else _orders_of(model, solution)
        for model, solution in zip(models, found, strict=True)
    ]


def _orders_of(model: Model, solution: Solution) -> list[Order]:
    orders = []
    for route in solution.routes():
        day = model.days[route.vehicle_type()]
        visits = []
        if day.tips_first is not None:
            visits.append(Visit("tip", day.tips_first.id))
        for activity in list(route.schedule())[1:-1]:
            if activity.is_depot():
                visits.append(Visit("tip", model.reload_works[activity.idx]))
                continue
            client = model.clients[activity.idx]
            if isinstance(client, JobClient):
                visits.append(Visit("job", client.job))
        if any(visit.kind == "job" for visit in visits):
            orders.append((day, tuple(visits)))
    return orders


def warm_solution(model: Model, orders: Sequence[Order]) -> Solution | None:
    """A starting solution from driving orders; jobs the model does not know are skipped."""
    if model.data is None:
        return None
    number = {(day.tanker.id, day.on): index for index, day in enumerate(model.days)}
    routes = []
    used: set[int] = set()
    for day, visits in orders:
        index = number.get((day.tanker.id, day.on))
        if index is None:
            continue
        activities = _activities(model, index, visits)
        if activities and index not in used:
            used.add(index)
            routes.append(Route(model.data, activities, index))
    return Solution(model.data, routes) if routes else None


def _activities(model: Model, number: int, visits: Sequence[Visit]) -> list[Activity]:
    day = model.days[number]
    open_depots = model.depots_on(number)
    activities: list[Activity] = []
    pending_tip: int | None = None
    for visit in visits:
        if visit.kind == "tip":
            if activities:
                pending_tip = open_depots.get(visit.id)
            continue
        client = _client_for(model, day, visit.id)
        if client is None:
            continue
        if pending_tip is not None:
            activities.append(Activity(ActivityType.DEPOT, pending_tip))
            pending_tip = None
        activities.append(Activity(ActivityType.CLIENT, client))
    return _with_break(model, number, activities)


def _client_for(model: Model, day: TankerDay, job: str) -> int | None:
    """The client of the job in the first window it has on that day."""
    windows = model.windows_on(job, day)
    for client in model.client_of_job.get(job, ()):
        meaning = model.clients[client]
        if isinstance(meaning, JobClient) and meaning.window in windows:
            return client
    return None


def _with_break(model: Model, number: int, activities: list[Activity]) -> list[Activity]:
    """Put the tanker's break, at its base, in the middle of the order."""
    for client, meaning in enumerate(model.clients):
        if (
            isinstance(meaning, BreakClient)
            and meaning.tanker_day == number
            and meaning.place is not None
            and activities
        ):
            middle = (len(activities) + 1) // 2
            return [
                *activities[:middle],
                Activity(ActivityType.CLIENT, client),
                *activities[middle:],
            ]
    return activities
