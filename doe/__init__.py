"""Designs: which settings, in which order, in which set-ups; what a design can and cannot tell."""
