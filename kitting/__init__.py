"""From a cable schedule to kits, shortages and reorders."""
