"""The Trip page."""

from typing import Any

import dash
from dash import html

from dashboard import controls
from dashboard.attributes import attributes
from dashboard.runs import Workshop

TITLE = "Trip"
PATH = "/"

GROUPS = {
    "Load and air": ("vehicle.mass_kg", "driveline.axle_ratio", "weather.temperature_c", "weather.wind_m_s", "weather.grip"),
    "On the descent": ("driver.descent_gear", "driver.descent_km_h", "retarding.switch", "retarding.selector",
                       "retarding.latched", "driver.speed_limit_share"),
    "Cruise control": ("cruise.set_speed_km_h", "cruise.with_engine_brake", "cruise.stage_1_over_km_h",
                       "cruise.stage_2_over_km_h", "cruise.stage_3_over_km_h", "cruise.stage_drop_km_h",
                       "cruise.upper_droop_km_h", "road_speed.limit_km_h"),
    "At the start": ("start.speed_km_h", "start.gear", "start.brake_temperature_c", "start.oil_temperature_c"),
    "Drills: one thing at a time": ("drill.hold_gear", "drill.hold_stage", "drill.service_brakes", "drill.style",
                                    "drill.careless", "drill.neutral", "drill.dead_pairs", "drill.missed_shift"),
}  # fmt: skip


def layout(query: dict[str, Any]) -> html.Div:
    """The page.

    Parameters
    ----------
    query : dict
        Of its address. [-]

    Returns
    -------
    page : Div
        [-]
    """
    panel = controls.panel("trip", GROUPS, query["?"], opened=("On the descent",))
    return html.Div([panel, html.Div(className="card", **attributes(data_trip=""))], className="sheet")


def register(app: dash.Dash, workshop: Workshop) -> None:
    """Adds what the page asks the server for.

    Parameters
    ----------
    app : Dash
        [-]
    workshop : Workshop
        [-]
    """
