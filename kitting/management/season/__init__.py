"""The weeks after the demo's first morning, played through the same use cases that people's scans call."""
