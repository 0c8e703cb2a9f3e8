"""Orders to touches: the pure compiler. Nothing here reads a clock, a file or a network."""
