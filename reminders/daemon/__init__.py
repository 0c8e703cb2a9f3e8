"""The local daemon: what it knows, when it speaks up, and how it stays alive."""
