"""What a person starts from a command line."""
