"""The engine: pure values in, a decision out; no Django, no clock, no I/O."""
