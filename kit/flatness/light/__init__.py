"""What a light along the surface will show of it, to an eye at some distance."""
