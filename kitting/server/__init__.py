"""Settings, and later the addresses, roles and the way errors become answers."""
