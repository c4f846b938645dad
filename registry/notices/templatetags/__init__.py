"""Template tags of notices."""
