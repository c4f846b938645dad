"""The kinds of requirement, one module each; ``leaf.py`` says what a kind is, ``kinds.py`` lists them."""
