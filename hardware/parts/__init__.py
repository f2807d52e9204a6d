"""Printable parts of a winder as parametric solids: dimensions in, checked meshes out."""
