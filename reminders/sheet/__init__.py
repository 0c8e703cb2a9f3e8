"""The printable sheet: what stands on it as values, and those values as a PDF."""
