"""The page on which the household says what happened, and the calendar that phones subscribe to."""
