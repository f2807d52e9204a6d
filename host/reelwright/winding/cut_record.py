"""A cut list solved, as plain data: what scripts read, and what a person's view is made from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from reelwright.winding.cut_list import Cutting
    from reelwright.winding.cut_plan import CutList, Step


@frozen
class SolvedCutList:
    """A cut list, its cutting, and the steps to wind. best_estimate: planned with that, not with the lower end."""

    cut_list: CutList
    cutting: Cutting
    steps: tuple[Step, ...]
    best_estimate: bool

    def fate(self, supply: int) -> str:
        """What becomes of a pay-off spool: "untouched", "kept", "used up", or "wasted"."""
        if supply not in self.cutting.opened:
            return "untouched"
        if not self.cutting.left_mm(supply):
            return "used up"
        return "kept" if self.cutting.is_kept(supply) else "wasted"

    def left_u_m(self, supply: int) -> float:
        """Standard uncertainty of what stays on a pay-off spool."""
        return self.cut_list.left_u_m(supply, self.cutting.used_mm(supply))

    def to_dict(self) -> dict[str, object]:
        """Plain JSON data; units as in the keys, _u_ keys are standard uncertainties, exact numbers text like "87/5".

        left_u_m has in it what the spool held and what is counted off it.
        """
        cutting = self.cutting
        return {
            "joins": cutting.joins,
            "waste_m": cutting.waste_mm / 1000,
            "join_loss_m": cutting.lost_mm / 1000,
            "pay_off_spools_opened": len(cutting.opened),
            "proven": cutting.proven,
            "best_estimate": self.best_estimate,
            "pay_off": [self._pay_off(supply) for supply in range(len(self.cut_list.pay_offs))],
            "steps": [_step(step) for step in self.steps],
        }

    def _pay_off(self, supply: int) -> dict[str, object]:
        spool = self.cut_list.pay_offs[supply]
        return {
            "name": spool.name,
            "held_m": spool.check.held_m,
            "held_u_m": spool.check.held_u_m,
            "counted_on_m": self.cutting.problem.supplies[supply].usable_mm / 1000,
            "used_m": self.cutting.used_mm(supply) / 1000,
            "left_m": self.cutting.left_mm(supply) / 1000,
            "left_u_m": self.left_u_m(supply),
            "fate": self.fate(supply),
        }


def _step(step: Step) -> dict[str, object]:
    return {
        "name": step.name,
        "length_m": step.plan.length_m,
        "wound_length_m": step.plan.wound_length_m,
        "turns": step.plan.turns,
        "phase_turns_after": str(step.plan.phase_turns),
        "joins": len(step.pieces) - 1,
        "pieces": [
            {
                "pay_off": piece.pay_off.name,
                "from_m": piece.from_m,
                "to_m": piece.to_m,
                "off_pay_off_m": piece.off_m,
            }
            for piece in step.pieces
        ],
        "warnings": [finding.to_dict() for finding in step.plan.findings],
    }
