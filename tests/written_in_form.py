"""What a nurse types and presses in the form to write the sample with three lumens from nothing, in the form's own order.

Everything in it is invented, as in the sample. A moment is written ``2026-10-12 20:00``, whatever way a field takes it.
"""

from dataclasses import dataclass
from enum import Enum


class Way(Enum):
    """How something is put into the form."""

    TYPE = "type"
    PICK = "pick"
    CHOOSE = "choose"
    TICK = "tick"
    PRESS = "press"


@dataclass(frozen=True, slots=True)
class Step:
    """One field that is filled in, or one button that is pressed."""

    way: Way
    mark: str
    value: str = ""


def _typed(place: str, **values: str) -> list[Step]:
    return [Step(Way.TYPE, f"{place}.{key}", value) for key, value in values.items()]


def _picked(place: str, **values: str) -> list[Step]:
    return [Step(Way.PICK, f"{place}.{key}", value) for key, value in values.items()]


def _chosen(place: str, **values: str) -> list[Step]:
    return [Step(Way.CHOOSE, f"{place}.{key}", value) for key, value in values.items()]


def _ticked(place: str, **values: str) -> list[Step]:
    return [Step(Way.TICK, f"{place}.{key}:{value}") for key, value in values.items()]


BEGIN = [
    Step(Way.TYPE, "lumens", "red, purple, grey"),
    Step(Way.TICK, "fluid-saline"),
    Step(Way.TICK, "fluid-heparin"),
    Step(Way.TYPE, "drug-1", "parenteral nutrition"),
    Step(Way.CHOOSE, "shape-1", "cyclic"),
    Step(Way.TYPE, "drug-2", "piperacillin-tazobactam"),
    Step(Way.CHOOSE, "shape-2", "every-8-h"),
    Step(Way.PRESS, "begin"),
]

LINE = [
    *_chosen("line", kind="PICC"),
    *_ticked("line", valved="no"),
    *_picked("line", placed_on="2026-10-08"),
    *_typed("line", external_length="2 cm", idle_limit="12 h"),
    *_chosen("line", lock="heparin"),
    *_ticked("line", heparin_ruled_out="no"),
    *_typed("line", allergies="none"),
    *_picked("lumen.red", last_flushed="2026-10-12 06:30"),
    *_picked("lumen.purple", last_flushed="2026-10-12 07:30"),
    *_picked("lumen.grey", last_flushed="2026-10-12 07:30"),
]

FLUIDS = [
    *_typed("fluid.saline", label="0.9 % sodium chloride", volume="10 mL", sodium="0.154 mmol/mL"),
    *_typed("fluid.saline", syringe="saline syringe 10 mL", syringe_holds="10 mL"),
    *_typed("fluid.heparin", label="heparin lock", strength="10 units/mL", volume="3 mL"),
    *_typed("fluid.heparin", syringe="heparin syringe 3 mL", syringe_holds="3 mL"),
    *_typed("protocol", provider="Fennimore Vale Home Infusion"),
    *_chosen("protocol", flush="saline"),
    *_typed("protocol", before="saline", after="saline", after_nutrition="saline 20 mL", idle="saline"),
    *_typed("protocol", scrub_time="15 s", dry_time="10 s", joining_time="30 min", planning_margin="0 min"),
    *_typed("protocol", least_time_to_next_touch="1 h", saved_session_worth="5"),
]

NUTRITION = [
    *_chosen("order.parenteral-nutrition", kind="nutrition"),
    *_typed("order.parenteral-nutrition", dose="2000 mL"),
    *_chosen("order.parenteral-nutrition", lumen="red", given_as="infusion"),
    *_typed("order.parenteral-nutrition", clock_times="20:00"),
    *_picked("order.parenteral-nutrition", first_dose="2026-10-12 20:00"),
    *_ticked("order.parenteral-nutrition", until_removal="yes"),
    *_typed("order.parenteral-nutrition", volume="2000 mL"),
    *_typed("order.parenteral-nutrition", rate_steps="90 mL/h for 1 h, 182 mL/h for 10 h, 90 mL/h for 1 h"),
    *_typed("order.parenteral-nutrition", rate_limit="200 mL/h", least_spacing="22 h", most_spacing="26 h"),
    *_typed("order.parenteral-nutrition", on_time_within="1 h", cut_off="4 h"),
    *_chosen("order.parenteral-nutrition", flush_through="allowed"),
    *_typed("order.parenteral-nutrition", each_dose="nutrition bag 2000 mL = 1, pump set with filter = 1"),
    *_typed("order.parenteral-nutrition", note="Take the bag out of the refrigerator at 18:00."),
    *_picked("order.parenteral-nutrition", review_on="2026-11-23"),
    Step(Way.TYPE, "name:order.parenteral-nutrition", "nutrition"),
]

PIPERACILLIN = [
    *_chosen("order.piperacillin-tazobactam", kind="drug"),
    *_typed("order.piperacillin-tazobactam", dose="4 g"),
    *_chosen("order.piperacillin-tazobactam", lumen="purple", given_as="infusion"),
    *_picked("order.piperacillin-tazobactam", first_dose="2026-10-12 14:00", last_day="2026-11-22"),
    *_typed("order.piperacillin-tazobactam", volume="100 mL", duration="30 min"),
    *_typed("order.piperacillin-tazobactam", least_spacing="6 h", most_spacing="10 h"),
    *_picked("order.piperacillin-tazobactam", last_dose_before_plan="2026-10-12 06:00"),
    *_typed("order.piperacillin-tazobactam", on_time_within="1 h", cut_off="3 h"),
    *_chosen("order.piperacillin-tazobactam", flush_through="allowed"),
    *_typed("order.piperacillin-tazobactam", each_dose="piperacillin-tazobactam bag = 1, administration set = 1"),
    Step(Way.TYPE, "name:order.piperacillin-tazobactam", "piperacillin"),
]

REST = [
    *_typed("supplies", each_touch="pair of gloves = 1", each_syringe="hub scrub = 1", each_connection="hub scrub = 1"),
    *_typed("daily_limits", flushed="250 mL", sodium="40 mmol"),
    *_typed("call.emergency", who="Emergency services", phone="911"),
    *_typed("call.now", who="On-call nurse, Fennimore Vale", phone="555-0142"),
    *_typed("call.same_day", who="Pharmacist, Fennimore Vale", phone="555-0143"),
    *_typed("call.next_contact", who="Visiting nurse", phone="555-0144"),
    *_typed("household", quiet_hours="22:30-06:00", preferred_flush_times="08:00, 20:00"),
    *_typed("calendar", name="Line care"),
    *_chosen("calendar", reveals="everything"),
    *_typed("calendar", alarm_before="10 min"),
    *_ticked("pop_up", discreet="no"),
    *_typed("plan", zone="America/Chicago"),
    *_picked("plan", start="2026-10-12 08:00", end="2026-11-23 08:00", takes_effect="2026-10-12 08:00"),
    *_ticked("plan", household_records="yes"),
    *_typed("plan", handling_time="15 min"),
]

STEPS = [*LINE, *FLUIDS, *NUTRITION, *PIPERACILLIN, *REST]
"""Everything on the form itself, after :data:`BEGIN`."""
