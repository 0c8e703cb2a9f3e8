"""What a pharmacist would ask about: unusual, to be confirmed, never decided here.

Each check names the published range behind it. The figures are ranges of published material, not limits of ours.
"""

import re
from collections.abc import Iterator
from fractions import Fraction

from reminders.findings import Finding, KeyPath
from reminders.plan.durations import dose_volume, duration
from reminders.plan.idle_limit import IdleLimit
from reminders.plan.keys import Pushed
from reminders.plan.model import FluidKind, LineKind, Plan
from reminders.plan.order import DrugKind, Order
from reminders.times import DAY, HOUR
from reminders.units import Measure, UnitError, measure, number, span

ASK = "Confirm with the pharmacist or prescriber; correct the plan only if they say so."

STRONGEST_LOCK = 100
"""units/mL: the strongest lock in patient teaching of several hospitals (heparin lock labels; a home handout)."""
LEAST_IDLE_LIMIT = 8 * HOUR
"""From inpatient policies (every 8 to 12 h)."""
MOST_IDLE_LIMIT = {LineKind.PORT: 28 * DAY}
"""Implanted ports are flushed every 4 weeks (old flush chart; infusion nursing standards, read second-hand)."""
MOST_IDLE_LIMIT_ELSE = 7 * DAY
"""Every other line weekly at the latest (a cancer centre's patient sheet; European guideline on home nutrition, read
second-hand; a manual of nursing procedures for midlines)."""
LEAST_FLUSH, MOST_FLUSH = 1, 30
"""mL: from 1 (infants) to 30 (after blood, in one hospital's flush table)."""


SALTS = frozenset({"sodium", "potassium", "chloride", "sulfate", "acetate", "phosphate"})
"""Words that name half of all drugs, and no allergy by themselves."""


def pharmacist_findings(plan: Plan) -> list[Finding]:
    """Return what is unusual about a plan and should be confirmed."""
    found = [
        *_heparin(plan),
        *_heparin_before(plan),
        *_limits(plan),
        *_volumes(plan),
        *_duplicates(plan),
    ]
    for order in plan.orders.values():
        found += [*_allergy(plan, order), *_midline(plan, order), *_pump(plan, order), *_rate(order)]
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


def _heparin_before(plan: Plan) -> Iterator[Finding]:
    lists: list[tuple[KeyPath, tuple[Pushed, ...]]] = [(("protocol", "before"), plan.protocol.before)]
    lists += [(("order", name, "before"), order.before or ()) for name, order in plan.orders.items()]
    for place, pushed in lists:
        names = [entry.name for entry in pushed if entry.name in plan.fluids]
        if any(plan.fluids[name].kind is FluidKind.HEPARIN for name in names):
            yield _unusual(
                "heparin-before",
                "Heparin is pushed before an infusion.",
                "saline before and after, heparin last of all (home teaching sheets: saline, administer, saline, heparin)",
                place,
            )


def _limits(plan: Plan) -> Iterator[Finding]:
    limits: list[tuple[IdleLimit | None, KeyPath]] = [(plan.line.idle_limit, ("line", "idle_limit"))]
    limits += [(lumen.idle_limit, ("lumen", name, "idle_limit")) for name, lumen in plan.lumens.items()]
    most = MOST_IDLE_LIMIT.get(plan.line.kind, MOST_IDLE_LIMIT_ELSE)
    for limit, place in limits:
        if isinstance(limit, int) and not LEAST_IDLE_LIMIT <= limit <= most:
            yield _unusual(
                "idle-limit-range",
                f"The idle limit is {span(limit)}; the line is of the kind {plan.line.kind.value}.",
                f"from 8 h (hospital policies) to {span(most)} (weekly patient sheets; implanted ports every 4 weeks)",
                place,
                ("line", "kind"),
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
    drug = order.drug.casefold()
    for text in plan.line.allergies:
        words = (word.removesuffix("s") for word in re.findall(r"[a-z]{5,}", text.casefold()))
        named = [word for word in words if word not in SALTS and word in drug]
        if named or drug in text.casefold():
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


def _pump(plan: Plan, order: Order) -> Iterator[Finding]:
    if order.kept_open is False:
        yield _unusual(
            "pump-idle",
            f"Between the doses of {order.drug} its lumen counts as idle and is flushed and locked while the "
            "reservoir is connected; the next dose would push the lock in.",
            "a pump that keeps the lumen open, or the provider's own way to flush (common practice, no source)",
            ("order", order.name, "kept_open"),
        )


def _rate(order: Order) -> Iterator[Finding]:
    if order.rate_limit is None:
        return
    place = ("order", order.name)
    fastest = _fastest(order, order.rate_limit)
    if fastest is None:
        yield _unusual(
            "rate-unchecked",
            f"Whether {order.drug} keeps its limit of {order.rate_limit.text} does not follow from what it states.",
            "a limit in mL/h, or in the unit of the dose, beside dose, volume and rate or duration",
            (*place, "rate_limit"),
        )
    elif fastest[0] > order.rate_limit.amount:
        yield _unusual(
            "rate-limit",
            f"{fastest[1]}, above the order's limit of {order.rate_limit.text}.",
            "a rate at or below the order's own limit",
            (*place, "rate_limit"),
            *((*place, key) for key in fastest[2]),
        )


def _kind(text: str, *kinds: str) -> str | None:
    try:
        return measure(text, kinds)[1]
    except UnitError:
        return None


DOSE_RATES = {
    "mass rate": ("mass", "mg/min"),
    "activity rate": ("activity", "units/min"),
    "substance rate": ("substance", "mmol/min"),
}
"""For each kind of rate limit: the kind of dose that it fits, and the unit in which both are compared."""


def _fastest(order: Order, limit: Measure) -> tuple[Fraction, str, tuple[str, ...]] | None:
    """Return the fastest rate in the limit's base unit, how it came about, and the keys that say so.

    None where the order does not state enough, or states the dose in another kind of unit than the limit.
    """
    runs, volume = duration(order), dose_volume(order)
    flows = [step.rate.amount for step in order.rate_steps or ()] or ([order.rate.amount] if order.rate else [])
    if not flows and volume is not None and runs:
        flows = [volume / runs * 60]
    flow_keys = ("rate_steps",) if order.rate_steps else ("rate",) if order.rate else ("volume", "duration")
    kind = _kind(limit.text, "flow", *DOSE_RATES)
    if kind == "flow":
        return (max(flows), f"It runs at up to {number(max(flows))} mL/h", flow_keys) if flows else None
    dose_kind, unit = DOSE_RATES[str(kind)]
    if not _kind(order.dose.text, dose_kind):
        return None
    if (order.rate_steps or order.rate) and volume and flows:
        pace = order.dose.amount / volume * max(flows) / 60
        mixed = f"{order.dose.text} in {number(volume)} mL at up to {number(max(flows))} mL/h"
        return pace, f"{mixed} is {number(pace)} {unit}", ("dose", "volume", *flow_keys)
    if order.continuous or not runs:
        return None
    pace = order.dose.amount / runs
    return pace, f"{order.dose.text} in {span(runs)} is {number(pace)} {unit}", ("dose", "duration")
