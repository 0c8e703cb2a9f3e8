"""When somebody is told of what is due, how often, and in which words; pure."""
