"""Driver-hours regimes as data. They are aids to planning; the operator's own advice decides.

Sources: assimilated Regulation (EC) 561/2006 articles 6 and 7 (9 hours' daily driving; a
break of 45 minutes after 4 hours 30 minutes of driving, which may be taken as 15 then 30);
the same, article 6(2) and (3): 56 hours' driving a week, 90 in two consecutive weeks; article
8: 11 hours' daily rest; article 4(i): the week runs from Monday 00:00 to Sunday 24:00;
Transport Act 1968 section 96 as described in the GB domestic rules guidance (10 hours'
driving and 11 hours' duty a day); Road Transport (Working Time) Regulations 2005
regulation 4 (60 hours' work a week, 48 on average over a reference period, 17 weeks unless
agreed otherwise; breaks do not count) and regulation 7 (no more than 6 hours' work without a
break; the 30 minutes is from memory). Reduced daily rests (9 hours, three times between two
weekly rests) and the weekly rest itself are left to the operator.
Whether emptying private tanks is exempt is arguable: the stricter regime is the safe choice.
"""

from dataclasses import dataclass

from scheduler.routing.errors import BadQuantity

HOUR = 3600
MINUTE = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class DriverHours:
    """Limits on a driver; None means the regime sets no such limit. All in seconds."""

    name: str
    max_driving_seconds: int | None = None
    max_duty_seconds: int | None = None
    driving_before_break_seconds: int | None = None
    driving_break_seconds: int = 45 * MINUTE
    work_before_break_seconds: int | None = None
    work_break_seconds: int = 30 * MINUTE
    daily_rest_seconds: int | None = None
    max_week_driving_seconds: int | None = None
    max_fortnight_driving_seconds: int | None = None
    max_week_work_seconds: int | None = None
    average_week_work_seconds: int | None = None

    def __post_init__(self) -> None:
        """Refuse limits that are zero or negative: they would forbid every round."""
        for field in (
            "max_driving_seconds",
            "max_duty_seconds",
            "driving_before_break_seconds",
            "driving_break_seconds",
            "work_before_break_seconds",
            "work_break_seconds",
            "daily_rest_seconds",
            "max_week_driving_seconds",
            "max_fortnight_driving_seconds",
            "max_week_work_seconds",
            "average_week_work_seconds",
        ):
            value = getattr(self, field)
            if value is not None and value <= 0:
                message = f"Driver hours “{self.name}”: {field} must be above zero."
                raise BadQuantity(message, item=self.name, field=field)


UNLIMITED = DriverHours(name="none")
ASSIMILATED = DriverHours(
    name="assimilated",
    max_driving_seconds=9 * HOUR,
    max_duty_seconds=13 * HOUR,
    driving_before_break_seconds=4 * HOUR + 30 * MINUTE,
    work_before_break_seconds=6 * HOUR,
    daily_rest_seconds=11 * HOUR,
    max_week_driving_seconds=56 * HOUR,
    max_fortnight_driving_seconds=90 * HOUR,
    max_week_work_seconds=60 * HOUR,
    average_week_work_seconds=48 * HOUR,
)
GB_DOMESTIC = DriverHours(
    name="gb-domestic",
    max_driving_seconds=10 * HOUR,
    max_duty_seconds=11 * HOUR,
    work_before_break_seconds=6 * HOUR,
)
REGIMES = {regime.name: regime for regime in (UNLIMITED, ASSIMILATED, GB_DOMESTIC)}
