"""The wiring of a winder, from its machine file: a net list, and a drawing of it."""
