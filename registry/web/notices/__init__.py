"""The pages of a job's notice."""
