"""The commands that a person types: arguments in, printing and exit status out."""
