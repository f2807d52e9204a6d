"""What a person or a script sees of a wind: live on a terminal, plain lines in a pipe, JSON on demand.

`choose_view` picks the face once. Importing this room is cheap: a face loads its library when it is chosen.
"""

from reelwright.views.choose import choose_view
from reelwright.views.view import View

__all__ = ["View", "choose_view"]
