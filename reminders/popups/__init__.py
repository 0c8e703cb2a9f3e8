"""Pop-ups: a short text on the screen of this computer, shown by whatever shows notifications there.

Each is shown by a helper process, so that a notification service that hangs, dies or comes back harms nobody else.
"""
