"""Calendar programs that no one here wrote, and the plans whose calendars they are given to read (R25)."""
