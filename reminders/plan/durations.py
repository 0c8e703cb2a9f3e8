"""How long a dose runs (R4): stated, volume by rate, or the sum of rate steps; exact, in minutes."""

from fractions import Fraction

from reminders.plan.order import Order


def by_rate(order: Order) -> Fraction | None:
    """Return volume / rate in minutes; None where the order does not state both."""
    if order.volume is None or order.rate is None:
        return None
    return order.volume.amount / order.rate.amount * 60


def by_steps(order: Order) -> int | None:
    """Return the sum of the rate steps' minutes; None without steps."""
    return sum(step.minutes for step in order.rate_steps) if order.rate_steps else None


def stepped_volume(order: Order) -> Fraction:
    """Return the volume in mL that the rate steps deliver."""
    return sum((step.rate.amount * step.minutes / 60 for step in order.rate_steps or ()), Fraction(0))


def duration(order: Order) -> int | None:
    """Return how long one dose runs, in whole minutes; None where nothing says it.

    A part of a minute counts as a whole one: an infusion is not taken for finished before it is.
    """
    if order.duration is not None:
        return order.duration
    steps = by_steps(order)
    if steps is not None:
        return steps
    exact = by_rate(order)
    return None if exact is None else -(-exact.numerator // exact.denominator)


def rate_range(order: Order) -> tuple[Fraction, Fraction] | None:
    """Return the least and most minutes that the rate's own rounding allows for the volume."""
    if order.volume is None or order.rate is None:
        return None
    low = max(order.rate.amount - order.rate.rounding, order.rate.amount / 2)
    return order.volume.amount / (order.rate.amount + order.rate.rounding) * 60, order.volume.amount / low * 60


def dose_volume(order: Order) -> Fraction | None:
    """Return the volume in mL of one dose, or of one bag of a continuous infusion; None where nothing says it."""
    if order.volume is not None:
        return order.volume.amount
    if order.rate_steps:
        return stepped_volume(order)
    if order.rate is not None and order.duration is not None:
        return order.rate.amount * order.duration / 60
    return None
