"""Pages that put equipment into the register: makers, models, sites, cranes and where they stand."""
