"""One module a command; each only reads its arguments and calls one function."""
