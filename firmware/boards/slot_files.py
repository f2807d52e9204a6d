"""The journal's two slots as files of the board's own file system."""


class SlotFiles:
    """A store in the sense of `windcore.journal`. folder: where the two files lie; "" for the root of the flash.

    On littlefs a file that is closed is there whole, and one that was being written when the power went is as it was
    before, or empty where it was new.
    """

    def __init__(self, folder: str = "") -> None:
        self._paths = (folder + "/slot0", folder + "/slot1")

    def read(self, slot: int) -> bytes:
        """What a slot holds; b'' where it cannot be read."""
        try:
            with open(self._paths[slot], "rb") as file:
                return file.read()
        except OSError:
            return b""

    def write(self, slot: int, data: bytes) -> None:
        """Put data in place of what the slot held. Raises OSError when the flash is full or broken."""
        with open(self._paths[slot], "wb") as file:
            file.write(data)
