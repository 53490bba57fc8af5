"""What was read on site: files, readings, and where to take them."""
