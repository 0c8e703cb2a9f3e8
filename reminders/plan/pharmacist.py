"""What a pharmacist would ask about: unusual, to be confirmed, never decided here.

Each check names the published range behind it. The figures are ranges of published material, not limits of ours.
"""

from collections.abc import Iterator
from fractions import Fraction

from reminders.findings import Finding, KeyPath
from reminders.plan.durations import dose_volume, duration, rate_range
from reminders.plan.model import FluidKind, LineKind, Plan
from reminders.plan.order import DrugKind, Order
from reminders.times import DAY, HOUR
from reminders.units import Measure, UnitError, measure, number, span

ASK = "Confirm with the pharmacist or prescriber; correct the plan only if they say so."

STRONGEST_LOCK = 100
"""units/mL: the strongest lock in patient teaching of several hospitals (heparin lock labels; a home handout)."""
LEAST_IDLE_LIMIT, MOST_IDLE_LIMIT = 8 * HOUR, 28 * DAY
"""From inpatient policies (every 8 to 12 h) to implanted ports (every 4 weeks)."""
LEAST_FLUSH, MOST_FLUSH = 1, 30
"""mL: from 1 (infants) to 30 (after blood, in one hospital's flush table)."""


def pharmacist_findings(plan: Plan) -> list[Finding]:
    """Return what is unusual about a plan and should be confirmed."""
    found = [*_heparin(plan), *_limits(plan), *_volumes(plan), *_duplicates(plan)]
    for order in plan.orders.values():
        found += [*_allergy(plan, order), *_midline(plan, order), *_bag(plan, order), *_rate(order)]
    return found


def _unusual(code: str, message: str, expected: str, *places: KeyPath) -> Finding:
    return Finding(code=code, message=f"Unusual: confirm. {message}", expected=expected, mend=ASK, places=places)


def _heparin(plan: Plan) -> Iterator[Finding]:
    for name, fluid in plan.fluids.items():
        if fluid.kind is FluidKind.HEPARIN and fluid.strength and fluid.strength.amount > STRONGEST_LOCK:
            yield _unusual(
                "heparin-strong",
                f"{fluid.label} holds {fluid.strength.text}.",
                "10 or 100 units/mL in published locks (heparin lock labels; hospital patient handouts)",
                ("fluid", name, "strength"),
            )
    locks: list[tuple[str, KeyPath]] = [(plan.line.lock, ("line", "lock"))]
    locks += [(lumen.lock, ("lumen", name, "lock")) for name, lumen in plan.lumens.items() if lumen.lock]
    allergies = [text for text in plan.line.allergies if "heparin" in text.lower()]
    for lock, place in locks:
        heparin = plan.fluids.get(lock)
        if heparin is None or heparin.kind is not FluidKind.HEPARIN:
            continue
        if plan.line.valved:
            yield _unusual(
                "heparin-valved",
                "A valved line is locked with heparin.",
                "saline alone in a valved line unless ordered otherwise (a children's hospital's teaching, 2022)",
                place,
                ("line", "valved"),
            )
        if allergies:
            yield _unusual(
                "heparin-allergy",
                f'The allergies name "{allergies[0]}", and the lock is heparin.',
                "no heparin with an allergy to it (common practice, no source)",
                place,
                ("line", "allergies"),
            )


def _limits(plan: Plan) -> Iterator[Finding]:
    limits: list[tuple[int | None, KeyPath]] = [(plan.line.idle_limit, ("line", "idle_limit"))]
    limits += [(lumen.idle_limit, ("lumen", name, "idle_limit")) for name, lumen in plan.lumens.items()]
    for limit, place in limits:
        if limit is not None and not LEAST_IDLE_LIMIT <= limit <= MOST_IDLE_LIMIT:
            yield _unusual(
                "idle-limit-range",
                f"The idle limit is {span(limit)}.",
                "from 8 h (hospital policies) to 28 days (implanted ports, every 4 weeks)",
                place,
            )


def _volumes(plan: Plan) -> Iterator[Finding]:
    volumes: list[tuple[Measure | None, KeyPath]] = [
        (fluid.volume, ("fluid", name, "volume")) for name, fluid in plan.fluids.items()
    ]
    volumes += [(lumen.flush_volume, ("lumen", name, "flush_volume")) for name, lumen in plan.lumens.items()]
    volumes += [(lumen.lock_volume, ("lumen", name, "lock_volume")) for name, lumen in plan.lumens.items()]
    for volume, place in volumes:
        if volume is not None and not LEAST_FLUSH <= volume.amount <= MOST_FLUSH:
            yield _unusual(
                "flush-volume-range",
                f"{volume.text} is pushed at once.",
                "from 1 mL (infants) to 30 mL (after blood) in published flush tables",
                place,
            )


def _duplicates(plan: Plan) -> Iterator[Finding]:
    seen: dict[str, str] = {}
    for name, order in plan.orders.items():
        drug = order.drug.casefold()
        if drug in seen:
            yield _unusual(
                "duplicate-drug",
                f"{order.drug} is ordered twice, as {seen[drug]} and as {name}.",
                "one order for each drug (common practice, no source)",
                ("order", name, "drug"),
                ("order", seen[drug], "drug"),
            )
        seen.setdefault(drug, name)


def _allergy(plan: Plan, order: Order) -> Iterator[Finding]:
    for text in plan.line.allergies:
        if order.drug.casefold() in text.casefold():
            yield _unusual(
                "drug-allergy",
                f'The allergies name "{text}", and {order.drug} is ordered.',
                "no drug with an allergy to it (common practice, no source)",
                ("order", order.name, "drug"),
                ("line", "allergies"),
            )


def _midline(plan: Plan, order: Order) -> Iterator[Finding]:
    if plan.line.kind is LineKind.MIDLINE and order.kind in (DrugKind.NUTRITION, DrugKind.VESICANT):
        yield _unusual(
            "midline-drug",
            f"{order.drug} is {order.kind.value}, and a midline does not end in a central vein.",
            "a central line for nutrition and vesicants (from memory of infusion nursing standards)",
            ("order", order.name, "kind"),
            ("line", "kind"),
        )


def _bag(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    bounds = rate_range(order)
    interval = order.bag_every
    if order.bag_times:
        hours = sorted(at.hour * HOUR + at.minute for at in order.bag_times)
        interval = max(b - a for a, b in zip(hours, [*hours[1:], hours[0] + DAY], strict=True))
    changed_by = "bag_every" if order.bag_every is not None else "bag_times"
    if order.continuous and bounds is not None and interval is not None and bounds[1] < interval:
        assert order.volume is not None  # rate_range needs both
        assert order.rate is not None
        yield _unusual(
            "bag-runs-dry",
            f"A bag of {order.volume.text} at {order.rate.text} is empty after {span(bounds[1])} and is changed "
            f"after {span(interval)}.",
            "a bag that lasts until it is changed (arithmetic: volume / rate)",
            (*place, changed_by),
            (*place, "volume"),
            (*place, "rate"),
        )
    hangs = interval if interval is not None else duration(order)
    if order.hang_time is not None and hangs is not None and hangs > order.hang_time:
        yield _unusual(
            "hang-time",
            f"A bag of {order.drug} hangs {span(hangs)}; the plan allows {span(order.hang_time)}.",
            "a bag changed within its hang time (the plan's own value)",
            (*place, "hang_time"),
            (*place, changed_by if interval is not None else "duration"),
        )


def _rate(order: Order) -> Iterator[Finding]:
    limit = order.rate_limit
    if limit is None:
        return
    place = ("order", order.name)
    fastest, shown, keys = _fastest(order, limit)
    if fastest is None:
        return
    if fastest > limit.amount:
        yield _unusual(
            "rate-limit",
            f"{shown}, above the order's limit of {limit.text}.",
            "a rate at or below the order's own limit",
            (*place, "rate_limit"),
            *((*place, key) for key in keys),
        )


def _kind(text: str, *kinds: str) -> str | None:
    try:
        return measure(text, kinds)[1]
    except UnitError:
        return None


def _fastest(order: Order, limit: Measure) -> tuple[Fraction | None, str, tuple[str, ...]]:
    """Return the fastest rate in the limit's base unit, how it came about, and the keys that say so."""
    runs, volume = duration(order), dose_volume(order)
    peak = max((step.rate.amount for step in order.rate_steps or ()), default=None)
    if peak is None and order.rate is not None:
        peak = order.rate.amount
    if _kind(limit.text, "flow"):
        if peak is None and volume is not None and runs:
            peak = volume / runs * 60
        return peak, f"It runs at up to {number(peak or Fraction(0))} mL/h", ("rate_steps",) if order.rate_steps else ()
    unit = "mg" if _kind(limit.text, "mass rate") else "units"
    if not _kind(order.dose.text, "mass" if unit == "mg" else "activity"):
        return None, "", ()
    if order.rate_steps and volume:
        pace = order.dose.amount / volume * (peak or Fraction(0)) / 60
        return pace, f"{order.dose.text} runs at up to {number(pace)} {unit}/min", ("dose", "rate_steps")
    if not runs or order.continuous:
        return None, "", ()
    pace = order.dose.amount / runs
    return pace, f"{order.dose.text} in {span(runs)} is {number(pace)} {unit}/min", ("dose", "duration")
