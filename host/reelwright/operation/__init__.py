"""A wind from the host's side: load the job, start it, follow it, record it."""
