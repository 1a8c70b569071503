"""What the wrench, the bolt or the bar can carry."""

from .torsion import TwistOff, twist_off

__all__ = ["TwistOff", "twist_off"]
