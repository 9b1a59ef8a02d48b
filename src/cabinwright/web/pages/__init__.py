"""One file a page, in the order of the work at the car."""
