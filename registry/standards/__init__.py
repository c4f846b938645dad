"""Role standards: the stored versions, and the figures employers set for them."""
