"""The plan file: its keys, how its text becomes a plan, and what is said about it."""
