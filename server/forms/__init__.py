"""What a form asks, and its answers: as they are handed in, checked, stored and read again."""
