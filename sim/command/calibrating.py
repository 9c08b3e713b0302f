"""`haulbench speedo` and `haulbench sheet`: the measured mile and the record of what is programmed, in words."""

import json
import sys
from argparse import Namespace
from functools import partial
from typing import Any

from sim.command.folder import check_folder, write_folder
from sim.command.waiting import prepare_model
from sim.errors import SettingsError
from sim.messages import speedometer as say
from sim.units import LITRE_PER_100KM, quantity_in, quantity_text, to_si


def speedo(options: Namespace) -> int:
    """The measured mile."""
    from sim.inputs.files import load_settings_file, load_truck, split_changes

    truck_changes, settings_changes = split_changes(options.set)
    truck = load_truck(options.truck, truck_changes).truck
    settings = load_settings_file(options.settings, settings_changes).settings
    try:
        shown = to_si(quantity_in(options.shown, "km_h"), "km_h")
    except ValueError as problem:
        raise SettingsError(say.shown_not_read(text=options.shown, problem=str(problem))) from None
    if options.out:
        check_folder(options.out, options.force)
    from sim.speedo import entered_pulses, exercise, mystery

    worn = worn_tread(options.worn)
    entered = None if options.entered is None else entered_pulses(options.entered, worn)
    if worn and entered is None:
        raise SettingsError(say.worn_without_tyre())
    prepare_model()
    cause = ""
    if options.mystery is not None:
        truck, cause = mystery(truck, options.mystery)
    found = exercise(truck, settings, shown, options.miles, options.seed, entered, options.both_ways)
    found["mystery"] = options.mystery
    if cause and entered is not None:
        found["cause"] = cause
    hidden = options.mystery is not None and entered is None
    if hidden:
        found = concealed(found)
    if options.out:
        from dashboard.paper.lab_sheet import speedo_sheet

        page = speedo_sheet(found, options.units)
        files = {"sheet.html": page, "sheet.json": json.dumps(found, indent=2, allow_nan=False) + "\n"}
        write_folder(options.out, files, options.force)
    if options.json:
        print(json.dumps(found, indent=2, allow_nan=False))
    else:
        print(speedo_text(found, options.units))
        if options.out:
            print(f"\nWritten to {options.out}: {', '.join(files)}")
    return 0


def worn_tread(text: str) -> float:
    """Tread that has worn off, as it was written; 0 for nothing. [m]"""
    from sim.speedo import TREAD

    if not text:
        return 0.0
    try:
        depth = quantity_in(text, "mm")
    except ValueError as problem:
        raise SettingsError(say.worn_not_read(text=text, problem=str(problem))) from None
    if not 0.0 <= to_si(depth, "mm") <= TREAD:
        raise SettingsError(say.worn_out_of_range(given_mm=depth, most_mm=1000.0 * TREAD))
    return to_si(depth, "mm")


def concealed(sheet: dict[str, Any]) -> dict[str, Any]:
    """A sheet without what a student is to find out: only what needle, stopwatch and controller show.

    Parameters
    ----------
    sheet : dict
        As `sim.speedo.exercise` gives it.
    """
    told = ("distance_m", "timed_s", "read_speed_m_s", "told_pulses_per_mile")
    mile, *ways = ({key: each[key] for key in told} for each in (sheet["mile"], *sheet["mile_ways"]))
    kept = ("truck", "seed", "mystery", "entered_pulses_per_mile", "score", "score_words", "rubric", "cautions")
    return {key: sheet[key] for key in kept} | {"mile": mile, "mile_ways": ways}


def _state_lines(name: str, state: dict[str, Any], units: str) -> list[str]:
    """A calibration and what follows from it."""
    speed = partial(quantity_text, kind="speed", units=units, digits=2)
    calibration, verdict, run = state["calibration"], state["verdict"], state["posted_run"]
    error, wear = state["effects"]["speed_error_percent"], state["wear"]
    posted = f"{quantity_text(10000.0, 'distance', units, 0)} at a posted {quantity_text(25.0, 'speed', units, 0)}"
    shown, true = (
        quantity_text(run[key] * LITRE_PER_100KM, "consumption", units, 2)
        for key in ("shown_fuel_l_per_100km", "fuel_l_per_100km")
    )
    lines = [
        name,
        f"  fitted {calibration['tyre_revolutions_per_mile']:.1f} rev/mi x axle {calibration['axle_ratio']:g} x"
        f" {calibration['teeth']} teeth = {calibration['fitted_pulses_per_mile']:.0f} pulses/mi;"
        f" told {calibration['told_pulses_per_mile']:.0f}",
        f"  shows {speed(verdict['shown_speed_m_s'])} at a true {speed(verdict['true_speed_m_s'])}:"
        f" {verdict['verdict']} ({verdict['rule']})",
        f"  tyres worn out turn {wear['worn_out_revolutions_per_mile']:.1f} rev/mi: {wear['worn_out_error_percent']:+.2f} %;"
        f" half worn {wear['half_worn_revolutions_per_mile']:.1f}, and {wear['half_worn_pulses_per_mile']:.0f} told shows"
        f" {wear['new_error_percent_told_half_worn']:+.2f} % new, {wear['worn_out_error_percent_told_half_worn']:+.2f} % worn out",
        f"  speed and odometer {error:+.2f} %; {posted} by the needle: true mean"
        f" {quantity_text(run['mean_speed_m_s'], 'speed', units)}, {run['time_over_limit_s']:.0f} s over the limit,"
        f" fuel shown {shown}, true {true}",
    ]
    for key, words in (("cruise_set", "cruise set"), ("road_speed_limit", "road-speed limit")):
        if f"{key}_true_m_s" in state["effects"]:
            effects = state["effects"]
            lines.append(f"  {words} {speed(effects[f'{key}_shown_m_s'])}: true {speed(effects[f'{key}_true_m_s'])}")
    return lines


def speedo_text(sheet: dict[str, Any], units: str) -> str:
    """The exercise for people.

    Parameters
    ----------
    sheet : dict
        As `sim.speedo.exercise` gives it, or concealed.
    """
    speed = partial(quantity_text, kind="speed", units=units, digits=2)
    lines = [f"Measured mile: {sheet['truck']}"]
    if "before" in sheet:
        lines += ["", *_state_lines("As found", sheet["before"], units)]
    for key, words in (("mile", "First run"), ("mile_after", "Second run, with the number entered")):
        if key not in sheet:
            continue
        mile = sheet[key]
        ways = zip(("there", "back"), sheet["mile_ways"], strict=False) if key == "mile" else ()
        lines += [
            "",
            f"{words}: {quantity_text(mile['distance_m'], 'distance', units, 2)} between the posts"
            + (", mean of both ways" if sheet["mile_ways"] else ""),
            *(
                f"  {name}: needle {quantity_text(way['read_speed_m_s'], 'speed', units)}, stopwatch {way['timed_s']:.1f} s"
                for name, way in ways
            ),
            f"  needle {quantity_text(mile['read_speed_m_s'], 'speed', units)}, stopwatch {mile['timed_s']:.1f} s,"
            f" controller told {mile['told_pulses_per_mile']:.0f} pulses/mi",
        ]
        if "measured_speed_m_s" in mile:
            lines += [
                f"  so the speed was {speed(mile['measured_speed_m_s'])} (true {speed(mile['true_speed_m_s'])})",
                f"  correction: {mile['told_pulses_per_mile']:.0f} x shown / measured ="
                f" {mile['corrected_pulses_per_mile']:.0f} pulses/mi",
            ]
        else:
            lines += [
                "  work out: speed = miles x 3600 / seconds; new pulses = old pulses x shown / measured",
                "  then run the same command with --entered PULSES",
            ]
    if "after" in sheet:
        lines += ["", *_state_lines(f"With {sheet['entered_pulses_per_mile']:.0f} entered", sheet["after"], units)]
    if "cause" in sheet:
        lines += ["", f"What had happened: {sheet['cause']}"]
    lines += ["", f"Rubric: {sheet['score']} of 4: {sheet['score_words']}", "", *sheet["cautions"]]
    return "\n".join(lines)


def sheet(options: Namespace) -> int:
    """Every programmable value, before and after the changes of this command."""
    from sim.inputs.files import load_settings_file, load_truck, split_changes
    from sim.inputs.sheet import settings_sheet

    truck_changes, settings_changes = split_changes(options.set)
    before = (load_truck(options.truck).truck, load_settings_file(options.settings).settings)
    after = (
        load_truck(options.truck, truck_changes).truck,
        load_settings_file(options.settings, settings_changes).settings,
    )
    entries = settings_sheet(before, after)
    if options.out:
        check_folder(options.out, options.force)
        from dashboard.paper.lab_sheet import settings_record

        record = settings_record(before[0].name, entries, options.units)
        write_folder(options.out, {"record.html": record}, options.force)
    if options.json:
        rows = [entry._asdict() | {"changed": entry.changed} for entry in entries]
        json.dump(rows, sys.stdout, indent=1)
        print()
    else:
        lines = [["", "key", "old", "new", "unit", "allowed", "meaning"]]
        lines += [["*" if entry.changed else "", *entry.words(options.units)] for entry in entries]
        wide = [max(map(len, column)) for column in zip(*lines, strict=True)]
        for line in lines:
            cells = [f"{cell:{'>' if place in (2, 3) else ''}{wide[place]}}" for place, cell in enumerate(line)]
            print("  ".join(cells).rstrip())
        print(f"\n{sum(entry.changed for entry in entries)} of {len(entries)} changed (*).")
        if options.out:
            print(f"Written to {options.out}: record.html")
    return 0
