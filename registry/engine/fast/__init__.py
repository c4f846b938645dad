"""Many records at once. What is said here is held to the plain engine by property tests."""
