"""What the work must keep clear of, and what it leads to in the rest of the room."""
