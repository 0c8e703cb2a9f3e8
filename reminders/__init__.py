"""Turns home-infusion orders into a calendar of infusions and flushes for each lumen of a central line.

The flow: plan text -> :mod:`~reminders.plan.read` -> plan -> :mod:`~reminders.schedule.compile` (with record and now)
-> schedule -> :mod:`~reminders.views`. :mod:`~reminders.examine` joins them; :mod:`~reminders.cli` is the edge.
"""
