"""How the registry says things in the language in force: stored names, instants, amounts, the engine's sentences."""
