"""The schedule as people and programs read it: calendar, agenda, JSON, summary. Pure: values in, text or bytes out."""
