"""What each output of the car's own radio carries, and how it is undone."""
