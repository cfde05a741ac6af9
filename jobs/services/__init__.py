"""Every write of the jobs: one function, one promise, one transaction."""
