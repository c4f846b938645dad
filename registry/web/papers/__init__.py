"""Printed documents to take away, and the public check of whether one is genuine."""
