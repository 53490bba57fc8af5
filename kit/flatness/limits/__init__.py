"""What a surface is allowed to be, and the verdict."""
