"""The pure calculation: no framework, no file format, no clock."""
