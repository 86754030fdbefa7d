"""What to do about an alert: a short ordered list by its kind and likely cause, with the cautions that belong to it.

The steps are common practice, no source, where nothing else stands beside them. Site rules go before all of them.
Pure. Must not do: promise a cure, or tell anybody to work on mains equipment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.domain.alert import AlertKind
from api.domain.cause import Cause, CauseName

LIKELY = 0.5
"""A cause less likely than this does not change what is done first. [1]"""
MAINS = (
    "Mains and water: dry hands at the plug, residual-current protection, drip loops. Nothing that is wet or scorched"
    " is plugged in again; repairs are a licensed electrician's."
)
HEATER = "A heater comes out of the water unplugged and cooled: dry, it burns and its glass breaks."
SOFT = "No metal and no bare hand near a soft animal: a plastic beaker under water, or leave it where it is."
NO_ICE = "Never ice or cold tap water in the tank: no faster than 1 °C an hour (from memory)."
CHEMICALS = "Only dechlorinated water of the tank's own temperature. No copper, in medicine or new pipe: it kills."
RELEASE = "Never release animals or their water outdoors."
SITE = "Your site's rules and your animal-care approval go before this list."


@dataclass(frozen=True, slots=True)
class ToDo:
    """Steps in order, and cautions. ``why``: the cause the list is for; empty: for the kind of alert alone."""

    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    why: str = ""


BY_KIND: dict[AlertKind, tuple[str, ...]] = {
    AlertKind.LOW_OXYGEN: (
        "Look at the animal: does it climb, or hold its gills to the air? Then hurry.",
        "Is the airstone bubbling? Put the airline back, clear the kink, start the pump; else a battery pump.",
        "Nothing at hand? Pour the tank's own water from a jug back into it, again and again: that airs it.",
        "Take out what is dead or left over; feed nothing until oxygen is back.",
        "Lower the water so that animals can reach the air, with a way up to it.",
        "Measure by hand in half an hour, and note what you did in the log.",
    ),
    AlertKind.HEAT: (
        "Is the heater still on? Unplug it at the wall.",
        "Lid off, lamp off, more air: warm water holds less oxygen.",
        "Cool the room, or blow a fan over the water; top up what goes away with dechlorinated water.",
        "Measure with a second thermometer; let it fall no faster than 1 °C an hour.",
        "Note it in the log, and do not use that heater again until its controller was tested in a bucket.",
    ),
    AlertKind.COLD: (
        "Measure with a second thermometer: is it the water or the probe?",
        "Is the heater plugged in and warm? Is the room's heating on, a window open?",
        "Lid on, and an insulating mat around the tank.",
        "Warm it no faster than 1 °C an hour; bottles of warm water standing in the tank, closed, are a way.",
        "Feed nothing until it is back; note it in the log.",
    ),
    AlertKind.QUIET_PROBE: (
        "Look at the animal first: until the probe speaks, nothing watches its water.",
        "Is the probe's plug in, its cable whole, its light on? Unplug and plug in again.",
        "Measure by hand now, and again before you leave.",
        "Put a spare probe in, or take this one out of service with the reason.",
    ),
    AlertKind.QUIET_ROOM: (
        "Look at the tanks: is there power, do the airstones bubble?",
        "No power: battery air first, the smallest and fullest tanks before the others.",
        "Power there: is the computer beside the tanks on, its network cable in?",
        "Measure by hand until readings come again.",
    ),
    AlertKind.DATED_AHEAD: (
        "Look at the tanks yourself: new readings may be judged late.",
        "Set the computer's clock right, from the network.",
        "Wait until the dated time has passed; the alert ends by itself.",
    ),
    AlertKind.NOT_KNOWN: (
        "Look at the animal and the water: nothing else knows how it is.",
        "Is the probe in the water, clean and whole, no bubble on it?",
        "Measure by hand, and enter it in the log.",
        "Compare the probe with a reference, or take it out of service with the reason.",
    ),
    AlertKind.OUTSIDE_CARE: (
        "Measure it again by hand, with a fresh test.",
        "Look at the animals; what was done here last, feeding, medicine, water change?",
        "Small water changes, a fifth at most, with water of the same temperature; measure between them.",
        "Ammonia or nitrite: no food, more air, look for what is dead.",
    ),
    AlertKind.CALIBRATION_DUE: (
        "Compare the probe: in water-saturated air or aired water for oxygen, in fresh buffer for pH.",
        "Enter what it said on the probe's page; a wide miss asks for a new membrane, not a new number.",
    ),
    AlertKind.SOFT_AND_HARD: (
        "Take the hard animals out, or part the tank by a divider.",
        "Leave the soft one where it is, its shelter and its exuvia with it.",
        "Keep them apart for four days at least, no handling for ten.",
    ),
    AlertKind.MOTHER_STAYS: (
        "Look under her tail: do young still cling? Then wait a day.",
        "None cling: take her out gently, the young stay with their shelter.",
        "Feed her apart, then back to her own tank.",
    ),
    AlertKind.CHANGE_IN_HOUR: (
        "Look at the animals: do they lie on their side, climb, or not react?",
        "What was done in the last hour: water change, heater, lid, lamp, door?",
        "Stop it from going on; do not turn it back at once, that is a second jolt.",
        "From here on no faster than the care profile allows; smaller and warmer water changes next time.",
    ),
    AlertKind.CHANGE_IN_DAY: (
        "Look at the animals, soft and berried ones first.",
        "What changed since yesterday: heater, room heating, season, food, number of animals?",
        "Take it back in small steps over days, no faster than the care profile allows.",
        "Compare the probe: a drift of a probe looks the same.",
    ),
    AlertKind.NOT_DELIVERED: (
        "The People page says which channel failed and why.",
        "Is the room's network there? Send a test message by another channel.",
        "Until it works, agree who looks at the room tonight.",
    ),
}
CHECKS_PROBE = (
    "Look at the animal and at the air first: a probe that lies hides what is true.",
    "Measure by hand now.",
)
BY_CAUSE: dict[CauseName, tuple[str, ...]] = {
    CauseName.LOST_AIR: BY_KIND[AlertKind.LOW_OXYGEN],
    CauseName.STAGNATION: (
        "Does the filter or pump run? Unplug, clear the inlet, plug in again.",
        "It stays still: an airstone into the tank, or pour its own water from a jug.",
        "A filter that stood for hours: empty it first, its stale water stays out of the tank.",
        "Measure ammonia and nitrite tomorrow.",
    ),
    CauseName.HEATER_STUCK_ON: BY_KIND[AlertKind.HEAT],
    CauseName.HEATER_DEAD: BY_KIND[AlertKind.COLD],
    CauseName.RISING_DEMAND: (
        "More air at once.",
        "Look for a dead animal and food left over, under shelters too; an empty exuvia is no dead animal: leave it.",
        "Feed nothing; a small water change with aired water of the same temperature.",
        "Too many in the tank: part them. Measure ammonia.",
    ),
    CauseName.ROOM_COOLING: (
        "Is the room's heating on, a door or window open?",
        "Lids on; the smallest tanks cool first, look at them first.",
        "Call the person responsible for the building, as your site's rules say.",
    ),
    CauseName.ROOM_HEATING: (
        "Is the room's heating stuck, its cooling off, the sun on the tanks?",
        "Lids off, lamps off, more air; the smallest tanks warm first.",
        "Call the person responsible for the building, as your site's rules say.",
    ),
    CauseName.POWER_CUT: (
        "Battery air first: the tanks with the shortest grace time before the others (Grace page).",
        "Is it the room's breaker or the whole house? A breaker that falls again stays off: an electrician.",
        "Lids on against cold. Feed nothing.",
        "When power is back, go round: heaters, pumps and cooling often do not come back as they were.",
    ),
    CauseName.PROBE_IN_AIR: (
        *CHECKS_PROBE,
        "Put the probe back under water and fasten it, below the lowest level and out of the bubbles.",
    ),
    CauseName.PROBE_DRIFTING: (
        *CHECKS_PROBE,
        "Wipe the probe with a soft cloth and tank water, wait ten minutes.",
        "Compare it with aired water, and enter it on its page; else a new membrane.",
    ),
    CauseName.PROBE_STUCK: (
        *CHECKS_PROBE,
        "Unplug the probe and plug it in again; the same number for ever means a new probe.",
    ),
    CauseName.PROBE_UNSTEADY: (
        *CHECKS_PROBE,
        "Look for bubbles on the probe, a loose plug, a cable beside a ballast or a pump.",
    ),
    CauseName.PROBE_QUIET: BY_KIND[AlertKind.QUIET_PROBE],
    CauseName.PROBES_SWAPPED: (
        "Follow each cable from the tank to its plug: which probe hangs where?",
        "Put them back, or say on the probe's page where they are now.",
        "Readings since the swap belong to the other tank: note the time in the log.",
    ),
}
"""NOT_KNOWN has none of its own: then the kind of alert decides."""
CARE_BY_KIND: dict[AlertKind, tuple[str, ...]] = {
    AlertKind.LOW_OXYGEN: (MAINS, SOFT, CHEMICALS),
    AlertKind.HEAT: (MAINS, HEATER, NO_ICE, CHEMICALS),
    AlertKind.COLD: (MAINS, HEATER, SOFT),
    AlertKind.QUIET_PROBE: (MAINS,),
    AlertKind.QUIET_ROOM: (MAINS,),
    AlertKind.DATED_AHEAD: (),
    AlertKind.NOT_KNOWN: (MAINS, SOFT),
    AlertKind.OUTSIDE_CARE: (CHEMICALS, RELEASE),
    AlertKind.CALIBRATION_DUE: (),
    AlertKind.SOFT_AND_HARD: (SOFT,),
    AlertKind.MOTHER_STAYS: (SOFT,),
    AlertKind.NOT_DELIVERED: (),
    AlertKind.CHANGE_IN_HOUR: (MAINS, NO_ICE, SOFT),
    AlertKind.CHANGE_IN_DAY: (MAINS, NO_ICE),
}


def what_to_do(kind: AlertKind, causes: Sequence[Cause] = ()) -> ToDo:
    """Steps for an alert, by its likeliest cause where one is likely, else by its kind; cautions by the kind.

    ``causes`` the likeliest first, as ``AlertEvent`` has them.
    """
    first = causes[0] if causes else None
    cautions = (*CARE_BY_KIND[kind], SITE)
    if first is not None and first.share >= LIKELY and first.name in BY_CAUSE:
        return ToDo(BY_CAUSE[first.name], cautions if MAINS in cautions else (MAINS, *cautions), first.words)
    return ToDo(BY_KIND[kind], cautions)
