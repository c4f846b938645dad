"""A crew competency and training-record registry for tower-crane work."""
