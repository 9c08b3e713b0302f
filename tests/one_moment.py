"""A truck at one instant: its records made from its file, without a clock, a road or anybody in the cab."""

from math import pi

import numpy as np

from sim import load_settings, load_truck
from sim.march import plant
from sim.march.assemble import parameters_of, tables_of
from sim.march.records import new_memory

T1 = "long-haul-manual"
TURN = pi / 30.0  # rad/s of 1 rpm
ZERO = 273.15  # K of 0 °C
STANDARD_AIR = ("weather.temperature_c=15",)


class Moment:
    """The records of a truck in standard air at sea level: oil and coolant at 90 °C, more boost than it can use, key on."""

    def __init__(self, truck: str = T1, spec: tuple[str, ...] = (), changes: tuple[str, ...] = STANDARD_AIR) -> None:
        self.truck = load_truck(truck, spec).truck
        self.settings = load_settings(None, changes)
        self.parameters, self.tables = parameters_of(self.truck, self.settings, 0.0), tables_of(self.truck)
        self.memory = new_memory()
        self.p = self.parameters[0]
        self.s, self.b, self.c, self.k, self.d = (record[0] for record in self.memory[1:])
        plant.surroundings(self.s, self.p)
        for drums in ("", "_steer", "_drive", "_trailer"):
            self.s[f"brake_temperature{drums}"] = 20.0 + ZERO
        self.s["oil_temperature"] = self.s["coolant_temperature"] = 90.0 + ZERO
        self.s["manifold_pressure"] = self.b["manifold_pressure"] = 4.0e5
        self.s["intake_temperature"] = self.b["intake_temperature"] = 320.0
        self.s["breathing"] = (
            0.9 * self.litres / (287.053 * 320.0)
        )  # kg/Pa, ideal gas, nine tenths of the cylinders filled
        self.b["altitude_share"] = self.b["key"] = self.k["ignition"] = 1.0
        self.b["ambient_pressure"] = self.s["ambient_pressure"]

    @property
    def litres(self) -> float:
        """Swept volume. [m3]"""
        engine = self.truck.engine
        return engine.cylinders * pi / 4.0 * engine.bore_mm**2 * engine.stroke_mm * 1.0e-9

    def turn(self, rpm: float) -> float:
        """Puts an engine speed, as it is and as the controller reads it. [rad/s]"""
        self.s["engine_speed"] = self.b["engine_speed"] = rpm * TURN
        return rpm * TURN

    def run(self, rpm: float, pedal: float = 0.0, **state: float) -> float:
        """Torque of the engine at a speed and a pedal. [N m]"""
        self.turn(rpm)
        self.b["driver_demand"] = pedal
        for name, value in state.items():
            self.s[name] = value
        plant.engine(self.s, self.b, self.c, self.p, self.tables)
        return float(self.s["engine_torque"])

    def roll(self, speed: float, gear: int, grade: float = 0.0) -> None:
        """Puts a road speed, engine and gearbox turning with it, on a grade."""
        turning = speed / self.truck.tyres.rolling_radius_m * self.truck.driveline.axle_ratio
        turning *= self.truck.gearbox.ratios[gear - 1]
        self.s["speed"] = self.s["wheel_speed"] = self.b["road_speed"] = speed
        self.s["engine_speed"] = self.s["shaft_speed"] = self.b["engine_speed"] = turning
        self.s["gear"], self.s["grade"] = gear, grade

    def full_load(self, rpm: float) -> float:
        """Torque of the truck's file. [N m]"""
        engine = self.truck.engine
        return float(np.interp(rpm, engine.full_load_rpm, engine.full_load_torque_n_m))
