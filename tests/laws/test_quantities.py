"""Quantities as people read them, against pint, a general-purpose library of units; and findings in words."""

import ast
import re
import string
from pathlib import Path

import pint
import pytest

from dashboard.trip.work import conditions_of
from sim.inputs.specs import Settings
from sim.units import SYSTEMS, quantity_kinds, quantity_text, shown_unit, shown_value
from sim.wording import Amount, Finding, finding, said, wordings

ROOT = Path(__file__).resolve().parents[2]
# as this program writes a unit -> as pint writes it; what is said after a unit of pressure is no unit
SPELT = {
    "": "dimensionless",
    "km/h": "km/hour", "mi/h": "mile/hour", "rpm": "rpm", "m": "m", "km": "km", "mi": "mile", "ft": "foot", "mm": "mm",
    "in": "inch", "°C": "degC", "°F": "degF", "K": "delta_degC", "kPa": "kPa", "psi": "psi", "bar": "bar", "kN": "kN", "lbf": "lbf",
    "kg": "kg", "lb": "lb", "kW": "kW", "hp": "hp", "N m": "N*m", "lb ft": "lbf*ft", "kJ": "kJ", "MJ": "MJ", "Btu": "Btu_it",
    "g/s": "g/s", "lb/h": "lb/hour", "g/kWh": "g/(kW*hour)", "lb/(hp h)": "lb/(hp*hour)", "L/100 km": "L/km",
    "gal/100 mi": "gallon/mile", "mi/gal": "mile/gallon", "m/s²": "m/s**2",
    "ft/s²": "ft/s**2", "s": "s", "%": "percent", "1000 Btu": "Btu_it", "1000 lbf": "lbf", "1000 lb": "lb",
    "t": "metric_ton", "min": "minute", "V": "volt", "Hz": "hertz", "ohm": "ohm", "inH2O": "cmH2O", "L/min": "L/minute",
    "ft³/min": "foot**3/minute",
}  # fmt: skip
SCALED = {
    "inH2O": 2.54,
    "1000 Btu": 1000.0,
    "1000 lbf": 1000.0,
    "1000 lb": 1000.0,
    "L/100 km": 0.01,
    "gal/100 mi": 0.01,
}
UNITS = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("units", SYSTEMS)
@pytest.mark.parametrize("kind", quantity_kinds())
def test_a_quantity_is_shown_as_a_library_of_units_converts_it(kind, units):
    written = shown_unit(kind, units).removesuffix(" absolute").removesuffix(" gauge")
    shown = 7.25
    if written == "mi/gal" and kind == "consumption":
        si = (1.0 / UNITS.Quantity(shown, "mile/gallon")).to_base_units().magnitude
    elif kind == "temperature rise" and written == "°F":
        si = UNITS.Quantity(shown, "delta_degF").to("delta_degC").magnitude
    else:
        si = UNITS.Quantity(shown * SCALED.get(written, 1.0), SPELT[written]).to_base_units().magnitude
    assert shown_value(si, kind, units) == pytest.approx(shown, rel=1e-9)


def test_both_systems_stand_beside_each_other_only_where_they_differ():
    assert quantity_text(0.123, "share", "both") == "12 %"
    assert quantity_text(206842.7, "gauge pressure", "both") == "207 kPa gauge (30.0 psi gauge)"


def fields_of(text: str) -> set[str]:
    """Names that a wording puts values in for."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_wording_can_be_read_in_both_systems():
    for kind, text in wordings().items():
        fields = [(name, how) for _, name, how, _ in string.Formatter().parse(text) if name]
        values = {name: Amount(1.5, "restriction") if how == "bare" else 1.5 for name, how in fields}
        metric, us = (said(Finding(kind, values), units) for units in SYSTEMS)
        assert metric and us and "{" not in metric + us, kind


def nodes_of(kind: type[ast.AST]) -> list[tuple[str, ast.AST]]:
    """Every node of a kind in the source: file and line, and the node."""
    paths = [*(ROOT / "sim").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]
    trees = [(path.name, ast.parse(path.read_text(encoding="utf-8"))) for path in paths]
    return [
        (f"{name}:{node.lineno}", node) for name, tree in trees for node in ast.walk(tree) if isinstance(node, kind)
    ]


def test_every_finding_has_a_wording_and_every_wording_a_finding():
    """By syntax tree: `finding("kind", name=...)` gives what its wording asks for; events are worded by what is recorded."""
    made = set()
    for place, call in nodes_of(ast.Call):
        if ast.unparse(call.func) != "finding" or not call.args:
            continue
        kind, given = ast.literal_eval(call.args[0]), {each.arg for each in call.keywords}
        assert kind in wordings(), f"{place}: no wording says {kind}"
        assert None in given or given >= fields_of(wordings()[kind]), f"{place}: {kind} asks for more"
        made.add(kind)
    texts = {node.value for _, node in nodes_of(ast.Constant) if isinstance(node.value, str)}
    texts |= {text for row in conditions_of(Settings()) for text in (row["lets"], row["stops"])}
    texts |= {
        text for file in (ROOT / "dashboard").rglob("*.js") for text in re.findall(r'"(\w+\.\w+)"', file.read_text())
    }
    made |= (
        {f"{group}.{text}" for group in ("event", "energy") for text in texts}
        | {kind.replace("warning.", "warned.") for kind in made}
        | texts
    )
    assert set(wordings()) <= made, sorted(set(wordings()) - made)


def test_a_finding_inside_another_is_read_in_the_same_units(monkeypatch):
    texts = {"a.outer": "It happened: {cause}.", "a.inner": "at {speed:speed.0}"}
    monkeypatch.setattr("sim.wording.wordings", lambda *_: texts)
    outer = finding("a.outer", cause=finding("a.inner", speed=25.0))
    assert said(outer, "us") == said(outer.data(), "us") == "It happened: at 56 mi/h."
    several = finding("a.outer", cause=[finding("a.inner", speed=25.0), finding("a.inner", speed=0.0)])
    assert said(several, "us") == said(several.data(), "us") == "It happened: at 56 mi/h, at 0 mi/h."
