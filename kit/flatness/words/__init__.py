"""What is printed: lengths, places, chances, verdicts and plans in words."""
