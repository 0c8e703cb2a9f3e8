"""Care tasks on the page: the cards of those that wait, what comes next of each, and what can be said of them.

Draws through a lumen are events of their lumen and stand there.
"""
