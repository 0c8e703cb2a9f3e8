"""``python -m reminders``."""

from reminders.cli import main

main()
