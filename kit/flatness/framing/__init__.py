"""Joists, studs and strapping: where they lie, what each is set to, how stock is cut for them."""
