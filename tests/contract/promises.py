"""Keeps the promises of a scenario file, one after the other. For both interpreters."""


def keep(promises, but=()):
    """Run each, except those whose names are in `but`; print the name of each that is kept, and a line at the end."""
    for promise in promises:
        if promise.__name__ not in but:
            promise()
            print(promise.__name__)
    print("all kept")
