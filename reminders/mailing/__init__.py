"""The packet: what a nurse sends to a household by e-mail, and what the household's computer makes of it."""
