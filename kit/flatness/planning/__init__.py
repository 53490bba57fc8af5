"""What to do about a surface: the least work that makes it pass, place by place."""
