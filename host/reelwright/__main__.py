"""`python -m reelwright` is the command itself."""

from reelwright.cli import run

if __name__ == "__main__":
    run()
