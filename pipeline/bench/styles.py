"""How a benchmark's skills are done: ranges as wide as beginners are, every detail varied by itself, most of them usual, some extreme."""

from __future__ import annotations

import numpy as np

from pipeline.stage.motions.backward_roll import RollStyle
from pipeline.stage.motions.cartwheel import CartwheelStyle
from pipeline.stage.motions.lunge import LoadedLungeStyle, LungeStyle
from pipeline.stage.motions.shoulder_stand import ShoulderStandStyle
from pipeline.stage.scene import Style
from pipeline.vocabulary import Side

BLEND_S = 0.4  # from one skill of a routine to the next


class Teller:
    """Draws how skills are done from one seed."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.lead = Side.LEFT if rng.random() < 0.5 else Side.RIGHT
        self.pace = rng.uniform(0.82, 1.15)

    def near(self, low: float, near_low: float, near_high: float, high: float, share: float = 0.6) -> float:
        """Between the inner two as often as `share`, otherwise anywhere between the outer two."""
        return self.rng.uniform(near_low, near_high) if self.rng.random() < share else self.rng.uniform(low, high)

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def common(self) -> dict:
        return {"lead": self.lead, "before": self.rng.uniform(0.35, 0.9), "after": self.rng.uniform(0.3, 0.7), "pace": self.pace}

    def lift(self) -> dict:
        """A sharp or a soft lift of the arms."""
        sharp = self.chance(0.5)
        return {
            "lift_s": self.rng.uniform(0.25, 0.5) if sharp else self.rng.uniform(0.6, 1.4),
            "lift_hitches": 0 if sharp else int(self.rng.integers(0, 4)),
        }

    def lunge(self, **more) -> LungeStyle:
        """A lunge from usual to extreme."""
        u = self.rng.uniform
        return LungeStyle(**{**dict(
            back_knee=self.near(140, 160, 179, 179), hip=self.near(105, 155, 200, 200), shoulder=self.near(115, 155, 180, 180), elbow=u(2, 30),
            leg_lean=u(28, 42), stride=u(0.95, 1.2), hold=u(0.6, 1.6)), **self.lift(), **self.common(), **more})  # fmt: skip

    def loaded(self, **more) -> LoadedLungeStyle:
        """A loaded lunge from usual to extreme."""
        u = self.rng.uniform
        return LoadedLungeStyle(**{**dict(
            back_knee=u(100, 152), lean=u(2, 45), shoulder=self.near(115, 155, 178, 178), elbow=u(2, 30), leg_lean=u(28, 40),
            stride=u(0.9, 1.1), heel_up=u(28, 48), hold=u(0.6, 1.4)), **self.common(), **more})  # fmt: skip

    def stand(self, **more) -> ShoulderStandStyle:
        """A shoulder stand from usual to extreme."""
        u = self.rng.uniform
        return ShoulderStandStyle(**{**dict(
            hip=self.near(95, 150, 196, 200, 0.45), knee=self.near(125, 160, 179, 179), trunk=u(150, 178), point=u(0, 60),
            arms=str(self.rng.choice(["back", "floor"])), hold=u(0.7, 2.0), legs=self.near(2.5, 0.8, 2.5, 12, 0.5),
            hands=int(self.rng.choice([0, 0, 1, 2])), pose=self.chance(0.6), turn=self._quarter(0.5)), **self.lift(), **self.common(), **more})  # fmt: skip

    def roll(self, **more) -> RollStyle:
        """A backward roll from usual to extreme."""
        u = self.rng.uniform
        on_knees = self.chance(0.4)
        extra = 0 if self.chance(0.6) else int(self.rng.integers(1, 4))
        return RollStyle(**{**self.common(), **dict(
            clear=u(-0.3, 0.05) if on_knees else u(-0.1, 1.0), kneel=u(0, 0.6) if on_knees else 0.0, tuck=u(0, 1),
            head_turn=self.near(-90, -6, 6, 90, 0.5), hand_late=0.0 if self.chance(0.6) else u(0.08, 0.5),
            sway=self.near(0.01, 0.001, 0.01, 0.06, 0.5), extra=extra, after=u(1.0, 1.2) if extra else u(0.6, 0.8)), **more})  # fmt: skip

    def cartwheel(self, **more) -> CartwheelStyle:
        """A cartwheel from usual to extreme."""
        u = self.rng.uniform
        bend = lambda: u(1, 9) if self.chance(0.45) else u(10, 60)  # noqa: E731
        steps = self.chance(0.45)
        return CartwheelStyle(**{**dict(
            bend_first=bend(), bend_second=bend(), turnout=u(0, 80), apart=u(38, 58), pike=u(0, 30),
            together=0.0 if self.chance(0.65) else u(0.2, 1.0), hands_aside=self.near(-28, -8, 8, 28), hand_in=u(-40, 70),
            look=self.near(-0.8, 0.7, 1.4, 1.4, 0.5), toes=u(-20, 60), straddle=self.near(0.45, 0.85, 1.25, 1.3),
            land_wide=0.0 if self.chance(0.5) else u(0.4, 1.0), finish=str(self.rng.choice(["steps", "back"])) if steps else "still",
            extra=int(self.rng.integers(1, 4)) if steps else 0, turn=self._quarter(0.2)), **self.common(), **more})  # fmt: skip

    def routine(self) -> tuple[Style, ...]:
        """Lunge (loaded or not), cartwheel, step together, backward roll, shoulder stand, rise and pose."""
        u = self.rng.uniform
        flows = self.chance(0.75)
        then = self.loaded(hold=u(0.45, 0.8)) if self.chance(0.5) else None
        return (
            self.lunge(then=then, go_on=flows, hold=u(0.6, 1.0), after=0.2),
            self.cartwheel(goes_on=flows, before=0.3, after=u(0.15, 0.4), turn=float(self.rng.choice([-90, 90]))),
            self.roll(before=u(0.3, 0.5), after=0.75),
            self.stand(before=u(0.3, 0.5), hold=u(0.7, 1.2), pose=True),
        )

    def _quarter(self, share: float) -> float:
        """A turn of about a quarter to either side, as often as `share`; otherwise none."""
        return float(self.rng.choice([-1, 1])) * self.rng.uniform(65, 100) if self.chance(share) else 0.0
