"""Brings firmware and machine description onto a board; may be broken off anywhere, and run again."""
