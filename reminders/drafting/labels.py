"""What the plan's keys are called for a person, how an answer is written, and what it means, without the file's own words."""

import re

from reminders.plan.forms import Entry, Form
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

LABELS = {
    "plan.id": _("Plan's id"),
    "plan.takes_effect": _("This revision holds from"),
    "plan.household_records": _("The household writes down what was done"),
    "plan.zone": _("Home time zone"),
    "plan.start": _("The household looks after the line from"),
    "plan.end": _("The plan ends"),
    "plan.line_removal": _("The line is taken out"),
    "plan.open_ended": _("No known end: plan ahead for"),
    "plan.handling_time": _("Time that one touch of the line takes"),
    "plan.note": _("Note to the household"),
    "zone_change.at": _("The clock changes"),
    "zone_change.zone": _("Time zone from then on"),
    "household.settled_ahead": _("What is near stays for"),
    "line.kind": _("Kind of line"),
    "line.valved": _("The line has a valve"),
    "line.external_length": _("How much of the line shows"),
    "line.idle_limit": _("Longest time without a flush"),
    "line.lock": _("Lock"),
    "line.needle_out_idle_limit": _("Longest time without a flush, needle out"),
    "line.needle_out_lock": _("Lock, needle out"),
    "line.heparin_ruled_out": _("Heparin must not be used"),
    "lumen.label": _("What its owner sees on it"),
    "lumen.in_use": _("May be used"),
    "lumen.lock": _("Lock, where it differs"),
    "lumen.idle_limit": _("Longest time without a flush, where it differs"),
    "lumen.flush_volume": _("Flush volume, where it differs"),
    "lumen.lock_volume": _("Lock volume, where it differs"),
    "lumen.flush_through": _("The lock may be flushed in"),
    "lumen.withdraw_volume": _("How much is drawn out"),
    "fluid.label": _("What stands on the syringe"),
    "fluid.volume": _("Volume of one push"),
    "fluid.syringe": _("Item of supply"),
    "fluid.syringe_holds": _("One syringe holds"),
    "step.label": _("What to do"),
    "step.consumes": _("What it uses up"),
    "protocol.provider": _("Provider"),
    "protocol.flush": _("Fluid of routine flushes"),
    "protocol.before": _("Before an infusion"),
    "protocol.after": _("After an infusion"),
    "protocol.after_nutrition": _("After nutrition"),
    "protocol.idle": _("An idle flush pushes"),
    "protocol.before_draw": _("Before blood is drawn"),
    "protocol.discard_volume": _("Drawn and thrown away first"),
    "protocol.after_draw": _("After blood was drawn"),
    "protocol.scrub_time": _("Scrub time of the hub"),
    "protocol.dry_time": _("Dry time of the hub"),
    "protocol.joining_time": _("No lock if the next dose starts within"),
    "protocol.planning_margin": _("Flush so long before the limit"),
    "protocol.least_time_to_next_touch": _("Least time from a flush to the next touch"),
    "protocol.saved_session_worth": _("Extra flushes that one saved session is worth"),
    "task.kind": _("Kind of task"),
    "task.label": _("What to do"),
    "task.every": _("Every so many hours or days from when it was done"),
    "task.every_days": _("Every so many days"),
    "task.weekdays": _("On these weekdays"),
    "task.moments": _("At these moments"),
    "task.with_tasks": _("Together with these tasks"),
    "task.at": _("Time of day"),
    "task.order": _("Tied to the order"),
    "task.before_dose": _("So long before the dose"),
    "task.after_finish": _("So long after the dose's finish"),
    "task.only_doses": _("Only with the doses numbered"),
    "task.not_on": _("Not on these days"),
    "task.instead": _("Then"),
    "task.takes": _("How long it takes"),
    "task.lumen": _("Drawn through the lumen"),
    "task.pauses_infusion": _("What runs in it pauses for"),
    "task.uses": _("What it uses up"),
    "task.brings": _("What it brings"),
    "supplies.each_touch": _("Each touch uses up"),
    "supplies.each_syringe": _("Each syringe uses up"),
    "supplies.each_connection": _("Each connection uses up"),
    "supplies.each_withdrawal": _("Each drawing out uses up"),
    "supplies.each_draw": _("Each blood draw uses up"),
    "supplies.order_ahead": _("Order so long before an item runs out"),
    "supplies.order_days": _("Weekdays on which orders are taken"),
    "supplies.remind_at": _("Time of day of the reminder"),
    "stock.item": _("Item of supply"),
    "stock.on_hand": _("How many there are"),
    "stock.counted_at": _("Counted"),
    "stock.kept_back": _("Kept back for breakage"),
    "stock.comes_in": _("How many in one pack"),
    "stock.order_ahead": _("Order ahead, where it differs"),
    "daily_limits.infused": _("Most infused volume in a day"),
    "daily_limits.flushed": _("Most flush and lock volume in a day"),
    "daily_limits.heparin": _("Most heparin from locks in a day"),
    "daily_limits.sodium": _("Most sodium from flushes in a day"),
    "order.kind": _("Kind of drug"),
    "order.dose": _("One dose"),
    "order.clock_times": _("At these times of day"),
    "order.weekdays": _("Only on these weekdays"),
    "order.every_days": _("Only every so many days"),
    "order.every": _("By an interval, every"),
    "order.moments": _("At these moments"),
    "order.continuous": _("Runs without a pause"),
    "order.follows": _("Follows the order"),
    "order.follows_after": _("So long after its finish"),
    "order.as_needed": _("Only when needed"),
    "order.most_in_24h": _("Most doses in 24 hours"),
    "order.first_dose": _("First dose"),
    "order.first_dose_number": _("The first dose here is dose number"),
    "order.last_day": _("Last day"),
    "order.doses": _("Number of doses"),
    "order.stops": _("Stops"),
    "order.until_removal": _("Until the line is taken out"),
    "order.duration": _("One dose runs for"),
    "order.volume": _("Volume of one dose or bag"),
    "order.rate_steps": _("Rates that change"),
    "order.rate_limit": _("Fastest rate allowed"),
    "order.least_spacing": _("Least time between two starts"),
    "order.most_spacing": _("Most time between two starts"),
    "order.last_dose_before_plan": _("Last dose before the plan"),
    "order.cut_off": _("No longer simply given after"),
    "order.after_late_dose": _("After a late dose"),
    "order.clock": _("On a journey"),
    "order.before": _("Before it, where it differs"),
    "order.after": _("After it, where it differs"),
    "order.flush_through": _("What is left may be flushed in"),
    "order.withdraw_volume": _("How much is drawn out"),
    "order.runs_with": _("May run together with"),
    "order.bag_every": _("The bag is changed every"),
    "order.bag_times": _("The bag is changed at"),
    "order.bag_flush": _("At a bag change is pushed"),
    "order.hang_time": _("A bag may hang for"),
    "order.kept_open": _("The pump keeps the lumen open"),
    "order.review_on": _("To be looked at again on"),
    "order.note": _("Note to the household"),
    "order.each_dose": _("One dose uses up"),
    "order.each_bag": _("One bag change uses up"),
    "task.note": _("Note to the household"),
    "call.signs": _("Call when"),
    "calendar.name": _("Name on the phone"),
    "calendar.reveals": _("On a locked phone it tells"),
    "calendar.alarm_before": _("The phone rings ahead by"),
    "calendar.refresh_every": _("Phones look again every"),
    "pop_up.ahead": _("Pop-ups come ahead by"),
    "pop_up.again_every": _("Again every"),
    "pop_up.urgent_again_every": _("Again every, if urgent"),
    "pop_up.ordinary_repeats": _("How many times again"),
    "pop_up.discreet": _("Pop-ups tell a stranger nothing"),
    "read_back.by": _("Read back by"),
    "read_back.at": _("Read back at"),
    "read_back.check": _("Check letters"),
}
"""What a key is called where its own name, with blanks, is not good enough."""

THINGS = {
    "zone_change": _("change of the clock"),
    "household": _("the household"),
    "line": _("the line"),
    "lumen": _("lumen"),
    "fluid": _("fluid"),
    "step": _("extra step"),
    "protocol": _("the protocol"),
    "task": _("care task"),
    "supplies": _("supplies"),
    "stock": _("item in stock"),
    "daily_limits": _("limits of a day"),
    "order": _("order"),
    "call": _("whom to call"),
    "calendar": _("the calendar"),
    "pop_up": _("pop-ups"),
    "plan": _("the plan"),
    "read_back": _("reading back"),
}
"""What one table of each kind is called."""

AT_TIMES = {
    "plan": "end line_removal open_ended",
    "lumen": "withdraw_volume",
    "fluid": "strength sodium",
    "order": "clock_times every moments continuous follows as_needed most_in_24h first_dose last_day doses stops "
    "until_removal duration volume rate rate_steps least_spacing on_time_within cut_off withdraw_volume bag_flush "
    "kept_open",
    "task": "every every_days weekdays moments with_tasks at last_done order before_dose after_finish instead "
    "on_time_within",
    "supplies": "order_ahead",
    "protocol": "after_draw",
}
"""Keys that may be left out in some plans and are needed in others; their meaning says when."""

EXAMPLES = re.compile(r'`"?([^`"]+)"?`')
KEY_IN_TEXT = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")


def label_of(table: str, key: str) -> str:
    """Return what a key is called for people: ``One dose``."""
    return LABELS.get(f"{table}.{key}") or _(key.replace("_", " ").capitalize())


def hint_of(form: Form) -> str:
    """Return how an answer is written, such as ``a number with its unit, such as 12 h``."""
    if form.entry is Entry.YES_NO:
        return _("yes or no")
    if form.entry is Entry.COUNTS:
        return _("items with their numbers, one on each line: hub scrub = 1")
    if form.entry is Entry.LONG:
        return _("some words")
    if form.entry is Entry.LIST and form.of is not None:
        said = _("one on each line, or with commas between them; each {item}").format(item=hint_of(form.of))
        return said if form.least else _('{said}; the word "none" if there are none').format(said=said)
    return EXAMPLES.sub(r"\1", form.shown)


def meaning_of(meaning: str) -> str:
    """Return a key's meaning for somebody who does not see the file: its words for keys, tables and values in plain ones."""
    for written, plain in PLAINLY:
        meaning = written.sub(plain, meaning)
    return KEY_IN_TEXT.sub(lambda found: found.group().replace("_", " "), meaning)


PLAINLY = tuple(
    (re.compile(written), plain)
    for written, plain in (
        (r"a name from \[(\w+)\]", r"the short name of a \1"),
        (r"names from \[(\w+)\]", r"short names of \1s"),
        (r"\[(\w+)\]", r"\1"),
        (r"an empty list says that none are known", _('the word "none" says that none are known')),
        (r"an empty list for none", _('the word "none" for none')),
        (r"^false for", _("no for")),
        (r"\bfalse only where calendar\.reveals is everything", _("no only where the calendar tells everything")),
        (r", made once with  reminders new-id ,", ","),
        (r"as  reminders check  prints them", _("as they stand below what is read back")),
    )
)
"""What a meaning says in the file's own words, and the same for somebody who answers questions."""
