"""Writing a plan without its file format: what is asked, what was answered, and the file that comes of it."""
