"""A trip's summary in words, for people, in US units, metric units or both."""

from collections.abc import Mapping

from sim.trips.books import EFFICIENCIES, HEAT_TERMS, SPENT_TERMS, energy_words
from sim.trips.result import BRAKE_LIMIT_C, CAUTIONS, VERDICTS, Result, applications_text, code_state, peak_text
from sim.units import LITRE_PER_100KM, clock_time, quantity_text, to_si
from sim.wording import said


def shares_text(terms: Mapping[str, float], whole: float) -> str:
    """Parts of a whole, largest first, those of less than a tenth of a percent left out."""
    scale = 100.0 / whole if whole > 0.0 else 0.0
    told = sorted(((name, part * scale) for name, part in terms.items()), key=lambda term: -term[1])
    return ", ".join(f"{name} {share:.1f} %" for name, share in told if abs(share) >= 0.1)


def summary_text(result: Result, units: str) -> str:
    """The summary a person reads.

    Returns
    -------
    text : str
        Verdict and warnings first, cautions last.
    """
    s = result.summary

    def heat(celsius: float) -> str:
        return quantity_text(to_si(celsius, "c"), "temperature", units)

    lines = [
        f"{VERDICTS[s['ended']]}: {s['truck']}",
        f"on {s['route']}",
        *(f"  ! {said(warning, units)}" for warning in s["warnings"]),
        *(f"    why: {said(explanation, units)}" for explanation in s["explanations"]),
        *(f"  what will happen: {said(foreseen, units)}" for foreseen in s["foreseen"]),
        *(f"  code: SPN {code['spn']} FMI {code['fmi']}, {said(code_state(code), units)}" for code in s["codes"]),
        "",
    ]
    stages = s["engine_brake_stage_time_s"]
    share = s["retarding_share"]
    energy = s["energy"]
    rows = [
        ("distance", quantity_text(s["distance_m"], "distance", units, 2)),
        ("time", clock_time(s["time_s"])),
        ("mean speed", quantity_text(s["mean_speed_m_s"], "speed", units)),
        ("highest speed", peak_text(s, "max_speed_m_s", units)),
        ("highest engine speed", peak_text(s, "max_engine_speed_rpm", units)),
        ("gear shifts", f"{s['gear_shifts']}"),
    ]
    if s["fuel_l_per_100km"] is not None:
        note = ""
        if abs(s["net_height_m"]) > 20.0:
            height = quantity_text(abs(s["net_height_m"]), "height", units)
            note = f"; the road ends {height} {'higher' if s['net_height_m'] > 0 else 'lower'}"
        fuel = quantity_text(s["fuel_l_per_100km"] * LITRE_PER_100KM, "consumption", units)
        rows.append(("fuel", fuel + note))
        rows.append(("carbon dioxide", quantity_text(s["co2_kg"], "mass", units, 1)))
    rows.append(("engine brake", ", ".join(f"stage {k} {clock_time(stages[k])}" for k in "123")))
    rows.append(("service brakes applied", applications_text(s, units)))
    rows.append(
        ("mean of the brakes", f"{peak_text(s, 'max_brake_temperature_c', units)}; limit {heat(BRAKE_LIMIT_C)}")
    )
    rows.append(("hottest axle's brakes", peak_text(s, "max_hottest_brake_temperature_c", units)))
    rows.append(("lowest tank pressure", peak_text(s, "least_tank_pressure_kpa", units)))
    if s["max_published_brake_temperature_a_c"] is not None:
        pair = " / ".join(heat(s[f"max_published_brake_temperature_{letter}_c"]) for letter in "ab")
        rows.append(("published model", f"set A / B: {pair}"))
    rows.append(
        (
            "held back by",
            f"engine {100 * share['engine']:.0f} %, air and tyres {100 * share['air_and_tyres']:.0f} %, "
            f"service brakes {100 * share['service_brakes']:.0f} %",
        )
    )
    supplied = {"fuel": energy["fuel"], "height": energy["height_given_up"], "motion": energy["kinetic_at_start"]}
    supplied = {name: joules for name, joules in supplied.items() if joules > 0.0}
    taken = {name: energy[name] for name in SPENT_TERMS} | {"kinetic_at_end": energy["kinetic_at_end"]}
    taken["height_gained"] = max(-energy["height_given_up"], 0.0)
    for heading, terms in (
        ("energy of", supplied),
        ("went to", {energy_words(name): joules for name, joules in taken.items()}),
        ("heat left by", {energy_words(name): energy[name] for name in HEAT_TERMS}),
    ):
        rows.append((heading, shares_text(terms, sum(supplied.values()))))
    if energy["engine_efficiency"] is not None:
        told = ", ".join(f"{part} {100 * energy[f'{part}_efficiency']:.1f} %" for part in EFFICIENCIES)
        rows.append(("efficiency, pulling", told))
    rows.append(("energy ledger", f"closes to {energy['residual_fraction']:.1e}"))
    timing = s["timing"]
    rows.append(("driven in", f"{timing['wall_s']:.2f} s, {timing['realtime_factor']:.0f} times real time"))
    lines += [f"  {name:22}{value}" for name, value in rows]
    lines += ["", *CAUTIONS]
    return "\n".join(lines)
