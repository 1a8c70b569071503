"""What `why` says: the explanation in plain sentences with numbers."""

from __future__ import annotations

from contactfe.case import ENDS
from contactfe.explain import Comparison, Explanation, Grip, Mode, Modes, ParameterEffect, largest_first
from contactfe.report.reader_units import in_words, shown
from contactfe.report.words import console

TIE = 0.05  # of the torque at slip: a section this near to it is at its limit


def torque(value: float) -> str:
    """A torque with the digits a reader can use."""
    return (
        f"{value:.0f} N m"
        if abs(value) >= 100
        else f"{value:.1f} N m"
        if abs(value) >= 1
        else f"{value:.2f} N m"
    )


def torque_cells(torque_Nm: float) -> tuple[str, str]:
    """A torque and its unit as two cells of a table on the console, in the units of the reader."""
    text, unit = shown(torque_Nm, "N·m")
    return text, console(unit)


def governs(found: Explanation) -> list[str]:
    """What governs, how the grip is lost, what the wrench does, and by what margin: one sentence or two each."""
    modes = found.modes
    if modes.governing is None or modes.grip is None:
        return [
            "The wrench turns freely: the opening passes over the corners at any torque, so there is no torque."
        ]
    lines = [_first_sentence(modes)]
    if modes.governing.key in ("bolt-twist-off", "fastener-torsion"):
        lines.append(
            "Were the fastener stronger below its head (locked, welded, or a bar): "
            + _lower(_grip_sentence(modes.grip))
        )
    elif modes.governing.key in ("wrench-section", "wrench-collapse"):
        lines.append("Were the wrench stronger: " + _lower(_grip_sentence(modes.grip)))
    else:
        lines.append(_alone_sentence(modes.grip))
    lines.append(_wrench_sentence(found))
    lines.append(_margin_sentence(modes))
    unknown = modes.find("bolt-twist-off")
    if unknown is not None and unknown.torque_Nm is None:
        lines.append(f"Whether the bolt's shank twists off before is not known here: {unknown.note}.")
    return [line for line in lines if line]


def _first_sentence(modes: Modes) -> str:
    mode, grip = modes.governing, modes.grip
    assert mode is not None and mode.torque_Nm is not None and grip is not None
    slip = grip.slip_torque_Nm
    if mode.key in ("corner-crush", "opening", "ring-growth"):
        return _grip_sentence(grip)
    if mode.key == "bolt-twist-off":
        band = f" ({torque(mode.band_Nm[0])} to {torque(mode.band_Nm[1])})" if mode.band_Nm else ""
        either = ": either may come first" if mode.band_Nm and slip <= mode.band_Nm[1] else ""
        return (
            f"The bolt's shank twists off at {torque(mode.torque_Nm)}{band}, before the wrench slips at "
            f"{torque(slip)}{either}."
        )
    if mode.key == "fastener-torsion":
        return (
            f"The bar itself yields through in torsion at {torque(mode.torque_Nm)} ({mode.note}), before the wrench "
            f"slips at {torque(slip)}."
        )
    assert modes.wrench is not None
    worst = modes.wrench.ligaments[0]
    how = (
        f"the ring reaches its plastic limit; the first section to yield through, at "
        f"{torque(modes.wrench.section_Nm)}, is the {worst.place}"
        if mode.key == "wrench-collapse"
        else f"its {worst.place} yields through over the whole {worst.height_mm:.1f} mm"
    )
    at = torque(mode.torque_Nm)
    return f"The wrench gives way before it slips: at {at} {how}; the grip would hold to {torque(slip)}."


def _grip_sentence(grip: Grip) -> str:
    slip = torque(grip.slip_torque_Nm)
    share = "" if grip.opening_share is None else f"{100 * grip.opening_share:.0f} %"
    if grip.kind == "corner-crush":
        what = "spreading of the jaws" if grip.open_head else "stretching of the ring"
        rest = f"; the {what} takes {share} of the grip" if share else ""
        return (
            f"The grip is lost by crushing, at {slip}: the corners are crushed through, {100 * grip.capped_share:.0f} % of "
            f"the {grip.gripped_mm:.1f} mm of flank in contact is at the pressure cap, up to {grip.crush_depth_um:.0f} um "
            f"deep{rest}."
        )
    how = (
        f"opening, at {slip}: the mouth has spread by {grip.opening_um:.0f} um and the corners pass"
        if grip.open_head
        else f"stretching of the ring, at {slip}: it has grown by {grip.opening_um:.0f} um and lets the corners pass"
    )
    lost = f"this takes {share} of what a rigid wrench would hold, and the flank still in contact is crushed"
    return f"The grip is lost by {how}; {lost}."


def _alone_sentence(grip: Grip) -> str:
    parts = []
    if grip.rigid_Nm is not None:
        rigid = torque(grip.rigid_Nm)
        parts.append(
            f"with a rigid wrench the grip would hold to {rigid}, until the corners are crushed through"
        )
    if grip.uncrushed_Nm is not None:
        hard = torque(grip.uncrushed_Nm)
        parts.append(f"with corners that cannot be crushed to {hard}, until the wrench has spread past them")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def _wrench_sentence(found: Explanation) -> str:
    limits, governing = found.modes.wrench, found.modes.governing
    if limits is None or governing is None or governing.key in ("wrench-section", "wrench-collapse"):
        return ""
    worst = limits.ligaments[0]
    where = (
        f"{worst.place}, {worst.height_mm:.1f} mm, membrane {worst.membrane_MPa:.0f} and bending "
        f"{worst.bending_MPa:.0f} MPa at slip"
    )
    section = torque(limits.section_Nm)
    if found.fracture_risk:
        end = f"; the ring reaches its plastic limit at {torque(limits.limit_Nm)}" if limits.redundant else ""
        return (
            f"A section of the wrench yields through before the pull ends, at {section} ({where}): "
            f"it keeps a permanent set, and a hard wrench may crack there{end}."
        )
    above = limits.section_Nm / found.modes.grip.slip_torque_Nm - 1.0 if found.modes.grip else 0.0
    if above < TIE:
        return (
            f"The wrench is at its limit: a section yields through at {section}, hardly above slip ({where})."
        )
    return f"The wrench is strong enough: no section yields through below {section}, {100 * above:.0f} % above slip ({where})."


def _margin_sentence(modes: Modes) -> str:
    governing = modes.governing
    others = [
        m
        for m in modes.modes
        if m.ends and governing is not None and m.key != governing.key and m.torque_Nm is not None
    ]
    if not others or governing is None:
        return ""
    if modes.ties:
        names = " and ".join(f"{m.name} ({torque(m.torque_Nm or 0.0)})" for m in modes.ties)
        return f"A near tie, within 5 %: {names}."
    following = others[0]
    higher = f"{100 * (following.margin or 0.0):.0f} % higher"
    return f"Next would be: {following.name}, at {torque(following.torque_Nm or 0.0)}, {higher}."


def mode_rows(modes: Modes, ends: bool) -> list[tuple[str, str, str, str]]:
    """The modes that end it, or those that do not, as rows: torque, against the governing one, name, note."""
    return [
        (_torque_text(m), _margin_text(m, modes), in_words(m.name), in_words(m.note))
        for m in modes.modes
        if m.ends is ends
    ]


def _torque_text(mode: Mode) -> str:
    if mode.band_Nm is not None:
        return console(in_words(f"{mode.band_Nm[0]:.0f} to {mode.band_Nm[1]:.0f} N m"))
    return "-" if mode.torque_Nm is None else " ".join(torque_cells(mode.torque_Nm))


def _margin_text(mode: Mode, modes: Modes) -> str:
    if modes.governing is not None and mode.key == modes.governing.key:
        return "ends the pull"
    return "-" if mode.margin is None else f"{100 * mode.margin:+.0f} %"


def raised(found: Explanation) -> str:
    """The torque that the inputs are judged by."""
    return f"torque delivered ({ENDS[found.record.ended_by].event})"


def helps(found: Explanation) -> list[str]:
    """The three inputs that would raise the torque most, each with what it adds."""
    return [_effect_words(effect) for effect in found.best()]


def shapes(found: Explanation) -> list[str]:
    """What another shape of the wrench would add, where it is not among the three."""
    told = found.best()
    others = [
        effect for effect in found.effects if effect.shape and effect.gain_Nm > 0 and effect not in told
    ]
    return [_effect_words(effect) for effect in others]


def _effect_words(effect: ParameterEffect) -> str:
    return f"{effect.change}: {effect.gain_Nm:+.3g} N m ({100 * effect.gain_share:+.1f} %)"


def further(found: Explanation) -> list[str]:
    """What one slip leaves for the next pull, where the case asks for further pulls."""
    return (
        [] if found.pulls is None else [f"{text[:1].upper()}{text[1:]}." for text in found.pulls.sentences()]
    )


def difference(comparison: Comparison) -> list[str]:
    """What two cases differ by, and what is equal in both: one sentence each."""
    (one, other), names = comparison.torques_Nm, comparison.names
    if not any(s.torque_Nm for s in comparison.shares):
        return [f"{names[0]} and {names[1]} do not differ in anything that matters: both {_or_free(one)}."]
    same = [s.words for s in comparison.shares if s.torque_Nm == 0.0]
    how = (
        "over all orders of switching"
        if comparison.all_orders
        else "over one order of switching and its reverse"
    )
    return [
        f"{names[0]}: {_or_free(one)}; {names[1]}: {_or_free(other)}. Difference {comparison.difference_Nm:+.4g} N m, "
        f"split into shares {how}:",
        f"No share, being equal in both: {', '.join(same)}.",
    ]


def share_rows(comparison: Comparison) -> list[tuple[str, str]]:
    """The shares as rows of torque and name, the largest first; of a profile's share what it is made of."""
    rows = []
    for share in largest_first(comparison.shares):
        rows.append((f"{share.torque_Nm:+.1f} N m", share.words))
        rows += [("", f"of which {value:+.1f} N m by {name}") for name, value in share.parts]
    return rows


def _or_free(value: float) -> str:
    return torque(value) if value > 0 else "turns freely"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
