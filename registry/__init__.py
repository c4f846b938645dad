"""The crew competency and training-record registry."""
