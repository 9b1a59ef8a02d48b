"""Adjustment of three-dimensional networks of tapes: start, least squares, data snooping, images, the next tape."""
