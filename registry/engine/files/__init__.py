"""Case files and role standards: read, checked, and described by JSON schemas."""
