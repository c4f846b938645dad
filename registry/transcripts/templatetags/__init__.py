"""Words and shapes of printed documents."""
