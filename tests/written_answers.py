"""Answers by which the sample with three lumens is written from nothing in the terminal, in the order of the questions.

Everything in them is invented, as in the sample.
"""

LINE = ["PICC", "no", "2026-10-08", "2 cm", "12 h", "heparin", "no", "none"]

LUMENS = [
    *("red", "red", "2026-10-12 06:30", ""),
    *("purple", "purple", "2026-10-12 07:30", ""),
    *("grey", "grey", "2026-10-12 07:30", ""),
    "",
]

FLUIDS = [
    *("saline", "saline", "0.9 % sodium chloride", "10 mL", "0.154 mmol/mL", "saline syringe 10 mL", "10 mL"),
    *("heparin", "heparin", "heparin lock", "10 units/mL", "3 mL", "", "heparin syringe 3 mL", "3 mL"),
    "",
]
STEPS = [""]
PROTOCOL = [
    *("Fennimore Vale Home Infusion", "saline", "saline", "saline", "saline 20 mL", "saline", ""),
    *("15 s", "10 s", "30 min", "0 min", "1 h", "5", ""),
]

NUTRITION = [
    *("nutrition", "Cyclic, with ramps", "parenteral nutrition", "nutrition", "2000 mL", "red", "infusion"),
    *("20:00", "2026-10-12 20:00", "", "", "yes", "2000 mL"),
    *("90 mL/h for 1 h, 182 mL/h for 10 h, 90 mL/h for 1 h", "200 mL/h", "22 h", "26 h", "", "", "1 h", "4 h"),
    *("allowed", "nutrition bag 2000 mL = 1, pump set with filter = 1"),
    *("Take the bag out of the refrigerator at 18:00.", "2026-11-23", ""),
]
PIPERACILLIN = [
    *("piperacillin", "Every 8 hours (q8h), by an interval", "piperacillin-tazobactam", "drug", "4 g", "purple"),
    *("infusion", "2026-10-12 14:00", "2026-11-22", "100 mL", "", "30 min", "6 h", "10 h", "2026-10-12 06:00"),
    *("1 h", "3 h", "allowed", "piperacillin-tazobactam bag = 1, administration set = 1", "", ""),
]
ORDERS = [*NUTRITION, *PIPERACILLIN, ""]
TASKS = [""]
SUPPLIES = ["pair of gloves = 1", "hub scrub = 1", "hub scrub = 1", "", "", "", "", "250 mL", "", "40 mmol"]
CALLS = [
    *("Emergency services", "911", ""),
    *("On-call nurse, Fennimore Vale", "555-0142", ""),
    *("Pharmacist, Fennimore Vale", "555-0143", ""),
    *("Visiting nurse", "555-0144", ""),
]
HOUSEHOLD = [
    *("22:30-06:00", "08:00, 20:00", ""),
    *("Line care", "everything", "10 min", "yes", "teal", "1 h"),
    *("yes", "15 min", "10 min", "3 min", "6", "no"),
]
PLAN = [
    *("America/Chicago", "2026-10-12 08:00", "2026-11-23 08:00", "2026-10-12 08:00", "yes", "15 min", "", ""),
]
SECTIONS = [LINE, LUMENS, [*FLUIDS, *STEPS, *PROTOCOL], ORDERS, TASKS, SUPPLIES, CALLS, HOUSEHOLD, PLAN]

READ_BACK = ["Ines Marlow", "2026-10-12 07:45"]


def typed(*more: str, sections: int = len(SECTIONS)) -> str:
    """Return the answers of the first ``sections`` sections, and then ``more``, as they are typed."""
    answers = [answer for section in SECTIONS[:sections] for answer in section]
    return "".join(f"{answer}\n" for answer in (*answers, *more))
