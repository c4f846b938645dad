"""The worker's door: what lies ahead, what waits, what runs out, what is missing, and sharing one's own record."""
