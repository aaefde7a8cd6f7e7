"""What people do in the warehouse, one use case a module; each is one transaction and one action number."""
