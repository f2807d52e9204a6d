"""Pulses to layers, exactly."""


class Tally:
    """Which layer a count is in.

    The boundary of layer k stands at (first + (k - 1) * numerator) / denominator pulses, rounded to the
    nearest, halves up. It is carried as whole and remainder from one boundary to the next, so it is exact
    at any depth and no product ever passes 2^30.
    """

    def __init__(self) -> None:
        self.begin(1, 1, 1)

    def begin(self, numerator: int, denominator: int, first: int) -> None:
        """Start at zero. All positive; numerator and first below 2^30, denominator below 2^29."""
        self._denominator = denominator
        self._step_whole = numerator // denominator
        self._step_rest = numerator % denominator
        self._whole = first // denominator
        self._rest = first % denominator
        self.done = 0  # layers whose boundary the count has reached
        self.lower = 0  # boundary of the last full layer
        self.upper = self._rounded()  # boundary of the next
        self.count = 0

    def update(self, count: int) -> None:
        """Take a new count; it may have gone up or down by any number of layers."""
        self.count = count
        while count >= self.upper:
            self._whole += self._step_whole
            self._rest += self._step_rest
            if self._rest >= self._denominator:
                self._rest -= self._denominator
                self._whole += 1
            self.done += 1
            self.lower = self.upper
            self.upper = self._rounded()
        while self.done and count < self.lower:
            self._step_back()

    @property
    def layer(self) -> int:
        """The layer that the count is in, from 1; a layer just filled is still the present one."""
        if self.done and self.count == self.lower:
            return self.done
        return self.done + 1

    def _rounded(self) -> int:
        return self._whole + (1 if 2 * self._rest >= self._denominator else 0)

    def _step_back(self) -> None:
        self.done -= 1
        self.upper = self.lower
        self._back_one()
        if self.done:
            # the boundary below `upper` is one further back
            whole = self._whole
            rest = self._rest
            self._back_one()
            self.lower = self._rounded()
            self._whole = whole
            self._rest = rest
        else:
            self.lower = 0

    def _back_one(self) -> None:
        self._whole -= self._step_whole
        self._rest -= self._step_rest
        if self._rest < 0:
            self._rest += self._denominator
            self._whole -= 1
