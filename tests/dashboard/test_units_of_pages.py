"""What pages, inputs and printed roads show to readers of one system has no unit of the other in it.

What is quoted is left out: what is painted on a sign, what is typed, and where a number comes from.
"""

import json
import re
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder
from serving import AtOnce, Visitor
from strangers import strangers, strangers_in_titles

from dashboard.app import create_app
from dashboard.gearing import page as gearing
from dashboard.panel.fields import described
from dashboard.paper.words import settings_rows, truck_rows
from dashboard.roads import page as roads
from dashboard.roads.work import read_upload, work_out
from dashboard.server.runs import Workshop
from dashboard.server.setups import Setup, read_setup
from dashboard.sources import page as sources
from dashboard.speedometer import page as speedometer
from sim import list_routes, list_trucks, load_truck
from sim.command.main import main
from sim.inputs.files import load_settings
from sim.roads.route import load_route
from sim.speedo import RULE
from sim.units import SYSTEMS, key_shown

UNSEEN = {"href", "id", "key", "bdata", "color", "fillcolor"}
BESIDE = re.compile(r"[0-9.]+ \S+ \([0-9.]+ \S+\)|-200-lb-per-hp")  # both systems deliberately, and a name
both_systems = pytest.mark.parametrize("units", SYSTEMS)


def texts_of(shown: Any) -> list[str]:
    """Every text a component and its figures are made of, without what is quoted."""
    if isinstance(shown, str):
        if shown.startswith(("#", "grade:")) or shown == RULE:
            return []  # a colour, an address, a rule as it is printed
        return [re.sub(r'"[^"]*"|Source: .*|WY-1901F', "", re.sub(r"%\{[^}]*\}", "}", shown))]
    if hasattr(shown, "to_plotly_json"):
        return texts_of(shown.to_plotly_json())
    if isinstance(shown, dict):
        return [text for key, each in shown.items() if key not in UNSEEN for text in texts_of(each)]
    return [text for each in shown for text in texts_of(each)] if isinstance(shown, list | tuple) else []


def foreign(shown: Any, units: str) -> list[str]:
    texts = texts_of(shown)
    assert len(texts) > 20
    return [text for text in texts if strangers(text, units) or strangers_in_titles(text, units)]


@pytest.fixture(scope="module")
def workshop():
    made = Workshop(AtOnce())
    yield made
    made.close()


@both_systems
def test_inputs_of_the_panel(units):
    told = described()
    for name, field in told["fields"].items():
        shown = field["us"]["unit"] if units == "us" and "us" in field else field["unit"]
        assert not strangers_in_titles(f", {shown}", units), name
        assert not [text for text in texts_of(field["meaning"]) if strangers(BESIDE.sub("", text), units)], name
    titles = [each["title"] for kind in ("trucks", "roads", "settings") for each in told[kind].values()]
    assert not [title for title in titles if strangers(title, units)]


@both_systems
def test_inputs_of_reports(units):
    file = load_truck("long-haul-manual")
    rows = [*truck_rows(file.truck, {}, units), *settings_rows(load_settings(None, ("weather.wind_m_s=5",)), units)]
    for key, value, unit, _, mark in rows:
        assert not strangers_in_titles(f", {unit}", units), key
        assert not strangers(f"{value} {unit}", units) and not strangers(mark, units), key
    shown = {row[0]: row[1:3] for row in rows}
    mass = file.truck.vehicle.mass_kg
    assert float(shown["vehicle.mass_kg"][0]) == pytest.approx(mass * key_shown("mass_kg", units)[1], abs=1.0)


@both_systems
@pytest.mark.parametrize("road", [*list_routes(), "grade:-6%,10km,1100m"])
def test_roads(workshop, road, units):
    setup = Setup("long-haul-manual", road, "defaults", {})
    inputs = read_setup(setup, workshop)
    assert not foreign(roads.results(setup, inputs, work_out(inputs, units), None, units), units)


@both_systems
def test_a_road_from_a_recording(recording, units):
    track, route = read_upload("mine.gpx", recording.read_bytes(), 25.0, 200.0, None)
    assert not strangers(route.title, units)
    assert not foreign(roads.smoothing(track, Setup(road="upload:1"), units), units)


@both_systems
@pytest.mark.parametrize("choices", ["", "3.08|,long-haul-automated|3.7,,0.51"])
def test_gearing(workshop, choices, units):
    data = {"truck": "long-haul-manual", "road": "grade:-6%,2km,900m", "settings": "defaults", "changes": {}}
    setup, answers = gearing.answers_of(workshop, data, choices)
    assert not foreign(gearing.results(setup, answers, units, workshop), units)
    assert not foreign(gearing.charts(answers, 1, units), units)


@both_systems
def test_what_stands_on_pages_before_anything_is_asked(units):
    for page in (gearing, roads, sources, speedometer):
        assert not foreign(page.layout({"?": ""}), units), page.TITLE


@both_systems
def test_the_record_of_programmed_values(workshop, units):
    client = Visitor(create_app(workshop))
    changed = {"truck": "long-haul-manual", "road": "grade:0%,1km", "settings": "defaults",
               "changes": {"road_speed.limit_km_h": "105"}}  # fmt: skip
    rows = client.post("/speedometer/look", json={"setup": changed}).json()["record"][units]
    assert not [row[0] for row in rows if strangers_in_titles(f", {row[3]}", units)]
    (limit,) = [row for row in rows if row[0] == "road_speed.limit_km_h"]
    assert limit[2:5] == (["105", "km/h", "0 to 140"] if units == "metric" else ["65.244", "mi/h", "0 to 86.992"])
    table = client.get(f"/speedometer/record.csv?road_speed.limit_km_h=105&units={units}").text
    assert ",65.244,mi/h," in table if units == "us" else ",105,km/h," in table
    page = client.get(f"/speedometer/record.html?road_speed.limit_km_h=105&units={units}").text
    assert ("65.244" in page) == (units == "us")


@both_systems
@pytest.mark.parametrize("command", ["list", "list --keys", "run kessarin-round --set simulation.time_limit_s=60"])
def test_commands_that_name_roads_and_trucks(capsys, command, units):
    assert main([*command.split(), "--units", units]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 15
    lines = [BESIDE.sub("", text) for line in lines for text in texts_of(line) if not line.startswith("  grade:")]
    assert not [line for line in lines if strangers(line, units)]


@both_systems
def test_the_command_that_makes_a_road(capsys, tmp_path, recording, units):
    out = tmp_path / "made"
    assert main(["route", str(recording), "--out", str(out), "--units", units]) == 0
    assert not strangers(capsys.readouterr().out, units)
    written = re.findall(">([^<>]+)</text>", out.with_suffix(".svg").read_text(encoding="utf-8"))
    assert not [text for text in written if strangers(text, units) or strangers_in_titles(text, units)]
    assert f"height, {'ft' if units == 'us' else 'm'}" in written
    assert not strangers(load_route(f"{out}.csv").title, units)


def test_names_of_roads_and_trucks_hold_for_everybody():
    titles = [load_route(name).title for name in list_routes()]
    for name in list_trucks():
        truck = load_truck(name).truck
        titles += [truck.name, truck.engine.name, truck.gearbox.name]
    titles += [load_route("grade:-6%,10km,1100m").title]
    assert not [text for text in titles for units in SYSTEMS if strangers(text, units)]


@both_systems
def test_what_is_painted_on_a_sign_is_quoted(workshop, units):
    setup = Setup("long-haul-manual", "skarrow-grade", "defaults", {})
    inputs = read_setup(setup, workshop)
    shown = json.dumps(roads.results(setup, inputs, work_out(inputs, units), None, units), cls=PlotlyJSONEncoder)
    for sign in inputs.route.signs:
        assert shown.count(json.dumps(f'"{sign.text}"')[1:-1]) == 2, (
            "in the table of limits and signs, and at the cursor"
        )
