"""Draws whole studies for the oracle: drills, stops, sites, and logs that break every rule now and then.

Each centre keeps its logs in a way of its own: some without a gauge, some with one at the end, some without a word on
findings, speeds or intended depths.
"""

from __future__ import annotations

from functools import cache

from hypothesis import strategies as st

SHORTEST_MM = 6  # of all instruments
LONGEST_STOP_MM = (
    8  # longer than the shortest instrument: where the platform lies deep such a drill still leaves the guide
)
WAYS = ("mixed", "mixed", "findings at drills", "gauge at the end", "gauges without stops", "nothing told")
FEW_LENGTHS = [6, 7, 8.5, 10, 11.2, 13]


# What hypothesis draws from is made once: to look through a strategy made anew takes it longer than to draw from it.
@cache
def tenths(low: int, high: int):
    """Lengths with one decimal, mm; given in tenths so that none carries binary noise of its own."""
    return whole(low, high).map(lambda tenth: tenth / 10)


@cache
def hundredths(low: int, high: int):
    return whole(low, high).map(lambda hundredth: hundredth / 100)


@cache
def one_of(*values):
    return st.sampled_from(values)


@cache
def whole(low: int, high: int):
    return st.integers(low, high)


@cache
def or_none(strategy):
    return st.one_of(st.none(), strategy)


def picked(draw, rows: list):
    """One of the rows, which need not be hashable."""
    return rows[draw(whole(0, len(rows) - 1))]


yes_or_no = st.booleans()
lengths = st.one_of(st.sampled_from(FEW_LENGTHS), hundredths(100 * SHORTEST_MM, 1600))
drill_roles = st.lists(st.sampled_from(["pilot", "widening", "osteotome"]), min_size=1, max_size=3)
platforms = st.one_of(st.just(0.0), tenths(-30, 30))
nudges = st.sampled_from([0, 0, 0.05, -0.05, 0.06, -0.06, 0.5])


@st.composite
def instruments(draw, approach: str):
    """One to three drills, none to two gauges of an approach."""
    rows = []
    roles = draw(drill_roles)
    roles += ["gauge"] * draw(whole(0, 2))
    for number, role in enumerate(roles):
        shank = None
        if approach == "guided" and not (role == "gauge" and draw(yes_or_no)):
            shank = draw(tenths(30, 140))
        rows.append(
            {
                "instrument_id": f"{approach} {number}",
                "role": role,
                "approach": approach,
                "diameter_mm": draw(tenths(20, 40)),
                "length_mm": draw(as_long_as(rows) if role == "gauge" else lengths),
                "guide_shank_mm": shank,
            }
        )
    return rows


def as_long_as(drills: list[dict]):
    """A length, at times a drill's own: chance alone hardly makes a gauge that reaches as deep as a drill."""
    return st.one_of(st.sampled_from([row["length_mm"] for row in drills]), lengths)


def length_stop(marking_mm: float):
    return {
        "stop_id": f"stop of {marking_mm:g}",
        "marking_mm": marking_mm,
        "marking_means": "length",
        "marked_on_length_mm": None,
    }


@st.composite
def stops(draw, drill_lengths: list[float]):
    """None to six stops, at times a whole series; depth stops marked for a length of the tray or another."""
    if draw(yes_or_no):
        return [length_stop(marking) for marking in range(1, LONGEST_STOP_MM + 1)]
    rows = []
    for number in range(draw(whole(0, 6))):
        means = draw(one_of("length", "length", "depth"))
        marked_on = None
        if means == "depth":
            marked_on = draw(st.one_of(st.sampled_from(drill_lengths), st.sampled_from(FEW_LENGTHS)))
        lowest = 0 if marked_on is None else max(0, round(10 * marked_on) - 10 * SHORTEST_MM + 1)
        highest = 10 * LONGEST_STOP_MM if marked_on is None else int(10 * marked_on)
        rows.append(
            {
                "stop_id": f"stop {number}",
                "marking_mm": draw(st.one_of(tenths(lowest, highest), st.just(float(highest // 10)))),
                "marking_means": means,
                "marked_on_length_mm": marked_on,
            }
        )
    return rows


@st.composite
def sites(draw, number: int, centres: list[str]):
    approach = draw(one_of("guided", "freehand"))
    lowest = draw(tenths(10, 90))
    return {
        "site_id": f"site {number}",
        "centre": draw(one_of(*centres)),
        "approach": approach,
        "rbh_min_mm": lowest,
        "rbh_max_mm": draw(st.one_of(st.just(lowest), tenths(round(10 * lowest), 110))),
        "soft_tissue_mm": draw(or_none(tenths(10, 60))),
        "implant_diameter_mm": draw(tenths(25, 60)),
        "implant_length_mm": draw(tenths(40, 140)),
        "platform_depth_mm": draw(platforms),
        "guide_offset_mm": draw(tenths(40, 120)) if approach == "guided" else None,
    }


@st.composite
def logs(draw, site, tray, all_stops, way):
    """A site's passes, at times none; intended depths on, at the edge of and off either reading."""
    own = [row for row in tray if row["approach"] == site["approach"]]
    # Chance alone hardly makes a log in which every gauge reaches just as deep as was drilled.
    probed_right = draw(yes_or_no)
    tells = {name: draw(yes_or_no) for name in ("speed", "intended", "finding")}
    drills, gauges = ([row for row in own if (row["role"] == "gauge") == gauge] for gauge in (False, True))
    rows, before, deepest = [], None, None
    n_passes = draw(whole(0, 8))
    for step_no in range(1, n_passes + 1):
        alike = [row for row in gauges if deepest and row["length_mm"] == deepest[0]["length_mm"]]
        if way == "findings at drills" or (way == "gauge at the end" and step_no < n_passes):
            instrument = picked(draw, drills)
        elif way == "gauge at the end" and gauges:
            instrument = picked(draw, gauges)
        else:
            instrument = picked(draw, drills + alike if probed_right else own)
        is_gauge = instrument["role"] == "gauge"
        stop = picked(draw, all_stops) if all_stops and draw(yes_or_no) else None
        if not is_gauge:
            deepest = max(deepest or (instrument, stop), (instrument, stop), key=lambda pair: travel_mm(*pair))
        elif way == "gauges without stops":
            stop = None
        elif probed_right and deepest:
            stop = deepest[1]
        elif draw(yes_or_no):
            stop = before  # probed with the stop of the pass before
        before = stop
        rows.append(written_down(draw, site, step_no, instrument, stop, way, tells))
    return rows


def written_down(draw, site, step_no, instrument, stop, way, tells):
    """A pass as its centre writes it down: what it tells of speeds, intended depths, findings and readings."""
    platform = site["platform_depth_mm"] if site["approach"] == "guided" else 0.0
    is_gauge, silent = instrument["role"] == "gauge", way == "nothing told"
    finding = draw(one_of("closed", "closed", "not_tested", "open"))
    if silent or not (tells["finding"] or way == "findings at drills") or (way == "mixed" and not is_gauge):
        finding = draw(one_of(*["not_tested"] * 5, "closed", "open")) if way == "mixed" else "not_tested"
    speed = draw(one_of(None, 0.0, 600.0, 800.0, 800.5, 1200.0))
    meant = intended(draw, instrument, stop, platform)
    reading = draw(or_none(tenths(-10, 120)))
    return {
        "site_id": site["site_id"],
        "step_no": step_no,
        "instrument_id": instrument["instrument_id"],
        "stop_id": stop and stop["stop_id"],
        "intended_depth_mm": None if silent or not tells["intended"] else meant,
        "speed_rpm": None if silent or not tells["speed"] else speed,
        "finding": finding,
        "read_depth_mm": reading if is_gauge and not silent else None,
    }


def travel_mm(instrument, stop) -> float:
    """How far the instrument goes with the stop, or bare."""
    if stop is None:
        return instrument["length_mm"]
    marking, marked_on = stop["marking_mm"], stop["marked_on_length_mm"]
    return instrument["length_mm"] - (marking if marked_on is None else marked_on - marking)


def intended(draw, instrument, stop, platform):
    """None, near a reading of the pass, or anything."""
    readings = [travel_mm(instrument, stop) + platform]
    if stop:
        readings += [stop["marking_mm"], instrument["length_mm"] - stop["marking_mm"] + platform]
    match draw(one_of("none", "near", "any")):
        case "near":
            return round(picked(draw, readings) + draw(nudges), 2)
        case "any":
            return draw(tenths(0, 120))


plans = st.fixed_dictionaries(
    {
        "first_depth_margin_mm": st.fixed_dictionaries({"guided": tenths(0, 20), "freehand": tenths(0, 20)}),
        "step_mm": st.one_of(st.just(1.0), tenths(3, 30)),
        "depth_tolerance_mm": st.sampled_from([0.0, 0.05, 0.05, 0.1]),
        "speed_limit_rpm": st.sampled_from([600.0, 800.0]),
        "lift_base_radius_mm": st.sampled_from([3.0, 5.0]),
    }
)


@st.composite
def studies(draw):
    """sites with their centre, steps in any order, instruments, stops (lists of dicts) and the plan."""
    tray = draw(instruments("guided")) + draw(instruments("freehand"))
    all_stops = draw(stops([row["length_mm"] for row in tray]))
    ways = {f"centre {number}": draw(one_of(*WAYS)) for number in range(draw(whole(1, 3)))}
    all_sites = [draw(sites(number, list(ways))) for number in range(draw(whole(1, 4)))]
    steps = [row for site in all_sites for row in draw(logs(site, tray, all_stops, ways[site["centre"]]))]
    return {
        "sites": draw(st.permutations(all_sites)),
        "steps": draw(st.permutations(steps)),
        "instruments": tray,
        "stops": all_stops,
        "plan": draw(plans),
    }
