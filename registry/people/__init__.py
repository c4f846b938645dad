"""Employers, workers, employment and the accounts that sign in."""
