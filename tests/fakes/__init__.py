"""Stand-ins for the modules that only a board has, with the habits of the real ones. They run on both interpreters."""
