"""The inspector's pages, the looks they leave, and answers as known at an instant."""
