"""Pages: views and forms only."""
