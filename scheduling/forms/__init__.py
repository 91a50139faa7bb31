"""Forms of the office's screens of jobs, firm and crews."""
