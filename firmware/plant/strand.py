"""The span of strand between the spools."""

# Of a metre of strand (E about 3 GPa on 2.4 mm^2 gives 7 N/mm) in series with a guide that gives: our guess.
STIFFNESS_N_MM = 1.0


class Span:
    """A spring that the take-up spool stretches, up to the tension at which the pay-off spool slips.

    `tension_n` never falls below 0: strand does not push. Turning back relaxes it.
    """

    def __init__(self) -> None:
        self.tension_n = 0.0

    def drawn(self, length_mm: float, slip_n: float) -> None:
        """The take-up spool took this much more strand (less when negative); the pay-off slips at slip_n."""
        tension_n = self.tension_n + STIFFNESS_N_MM * length_mm
        if tension_n > slip_n:
            tension_n = slip_n
        self.tension_n = tension_n if tension_n > 0.0 else 0.0
