"""Starting the daemon when its user logs in, by what each system has for that."""
