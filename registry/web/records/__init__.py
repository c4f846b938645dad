"""Pages that put records into the register: sheets, signatures, scans, corrections, imports."""
