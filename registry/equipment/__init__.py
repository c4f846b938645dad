"""Makers, crane models, model families, sites and the cranes on them."""
