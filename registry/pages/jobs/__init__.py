"""Pages of a job, for its account or for whoever opened its link."""
