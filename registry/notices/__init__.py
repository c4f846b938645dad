"""The notice packet: what a jurisdiction wants to be told before work on a crane starts, and what was sent."""
