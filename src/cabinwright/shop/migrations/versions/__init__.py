"""One module a step, each with its way back."""
