"""How long records are kept, lawful erasure, and what is held about a person."""
