"""Long work beside the pages: what it does, and the worker that does it one after the other."""
