"""Quasi-static sums by hand for a truck that rolls down a grade: written from the sources, with nothing of `sim.laws` in them.

Each line is a printed law over the numbers of the truck's file, which says of each where it is from:

- air: International Standard Atmosphere, 101325 Pa, 0.0065 K/m, 287.053 J/(kg K), exponent 5.2559, from the air at the start
- weight, tyres and drag: 40 CFR 1036.545(f)(3); the tyres' linear growth with speed from memory
- motored engine: form after Millington and Hartles, SAE 680590, in Heywood, Internal Combustion Engine Fundamentals, ch. 13,
  constants from memory; torque of a mean pressure in a four-stroke, p V/(4 pi)
- engine brake: polytropic compression; boost by the energy balance of the turbocharger, ideal gases, any handbook of engines
- gearbox and axle: Regulation (EU) 2017/2400, Annexes VI and VII, in overrun
- brakes: one drum, what goes in less what the air takes; published sets A and B: report WY-1901F, 2018, and FHWA-RD-79-116
  (constants from memory)

The truck is taken to be at its steady speed everywhere: nothing is marched, there is no driver and no controller.
"""

from collections.abc import Iterable
from functools import cache
from math import atan, cos, inf, pi, sin

import numpy as np
from scipy.optimize import brentq

from sim import load_truck
from sim.inputs.specs import AxleBrakes

G = 9.80665
STEP = 25.0  # m, of a descent
TURN = pi / 30.0  # rad/s of 1 rpm
GRID_RPM, GRID_AIR = 100.0, 4000.0  # rpm, Pa: between which a settled turbocharger is taken as a straight line
# flow of a nozzle over the pressure behind it against the pressure before over behind it, gamma 4/3, up to the speed of sound
NOZZLE_RATIO = np.linspace(1.0, (7.0 / 6.0) ** 4, 2001)
NOZZLE_FLOW = NOZZLE_RATIO * np.sqrt(8.0 * (NOZZLE_RATIO**-1.5 - NOZZLE_RATIO**-1.75))


class Sums:
    """One truck in the air of one day, whose temperature is known where the road starts (C)."""

    def __init__(self, name: str, start_height: float, changes: Iterable[str] = (), air_c: float = 20.0) -> None:
        self.truck, self.start_height, self.air_c = load_truck(name, tuple(changes)).truck, start_height, air_c

    def air(self, height: float) -> tuple[float, float]:
        """Pressure and density at a height. [Pa, kg/m3]"""
        pressure = 101_325.0 * (1.0 - 0.0065 * height / 288.15) ** 5.2559
        return pressure, pressure / 287.053 / (273.15 + self.air_c - 0.0065 * (height - self.start_height))

    def rpm(self, speed: float, gear: int) -> float:
        truck = self.truck
        turning = speed / truck.tyres.rolling_radius_m * truck.driveline.axle_ratio * truck.gearbox.ratios[gear - 1]
        return turning / TURN

    def retarding_torques(self, rpm: float, cylinders: int, ambient: float) -> tuple[float, float]:
        """Torque to turn the engine with oil at 90 C, and of so many braking cylinders beside it, in air of a pressure. [N m]"""
        engine = self.truck.engine
        swept = engine.cylinders * pi / 4.0 * engine.bore_mm**2 * engine.stroke_mm * 1e-9  # m3
        piston = 2.0 * engine.stroke_mm / 1000.0 * rpm / 60.0  # m/s
        motored = 6.895 * (engine.compression_ratio - 4.0) + 48.0 * rpm / 1000.0 + 0.4 * piston**2  # kPa
        manifold, exhaust = self.braking_pressures(rpm, cylinders, ambient) if cylinders else (ambient, ambient)
        per_pressure = swept / (4.0 * pi)
        braking = self.braking_mean(manifold, exhaust) * cylinders / engine.cylinders
        return engine.friction_factor * 1000.0 * motored * per_pressure, braking * per_pressure

    def braking_mean(self, manifold: float, exhaust: float) -> float:
        """Mean pressure of a working cylinder. [Pa]"""
        brake = self.truck.engine_brake
        ratio, exponent = self.truck.engine.compression_ratio, brake.polytropic_exponent - 1.0
        work = manifold * ratio / (ratio - 1.0) * (ratio**exponent - 1.0) / exponent
        return work * (1.0 - brake.returned_share) + exhaust - manifold

    def braking_pressures(self, rpm: float, cylinders: int, ambient: float) -> tuple[float, float]:
        """Manifold and exhaust pressure at which the turbine carries its compressor, between solved speeds and airs. [Pa]"""
        rpm = max(rpm, GRID_RPM)
        slow, thin = GRID_RPM * int(rpm / GRID_RPM), GRID_AIR * int(ambient / GRID_AIR)
        faster, denser = (rpm - slow) / GRID_RPM, (ambient - thin) / GRID_AIR
        found = np.zeros(2)
        for speed, part in ((slow, 1.0 - faster), (slow + GRID_RPM, faster)):
            for air, share in ((thin, 1.0 - denser), (thin + GRID_AIR, denser)):
                if part * share > 0.0:
                    found += part * share * np.array(self._turbine_carries(speed, cylinders, air))
        return float(found[0]), float(found[1])

    @cache  # noqa: B019 - lives as long as the test
    def _turbine_carries(self, rpm: float, cylinders: int, ambient: float) -> tuple[float, float]:
        """The lowest pressure ratio at which the turbine carries the compressor, by halving."""
        outside = (273.15 + self.air_c) * (ambient / self.air(self.start_height)[0]) ** 0.190263

        def lacks(ratio: float) -> tuple[float, float, float]:
            return self._turbine_lacks(ratio, rpm, cylinders, ambient, outside)

        high = next(1.0 + 0.02 * k for k in range(1, 300) if lacks(1.0 + 0.02 * k)[0] > 0.0)
        low = high - 0.02
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if lacks(middle)[0] < 0.0 else (low, middle)
        return lacks(high)[1:]

    def _turbine_lacks(
        self, ratio: float, rpm: float, cylinders: int, ambient: float, outside: float
    ) -> tuple[float, float, float]:
        """Power of the compressor less that of the turbine, manifold and exhaust pressure, at a pressure ratio. [W, Pa, Pa]"""
        engine, air, brake = self.truck.engine, self.truck.air_path, self.truck.engine_brake
        swept = engine.cylinders * pi / 4.0 * engine.bore_mm**2 * engine.stroke_mm * 1e-9
        (first, last), (most, least) = air.filling_rpm, air.filling_share
        filling = most + (least - most) * min(max((rpm - first) / (last - first), 0.0), 1.0)
        hot = outside * (1.0 + (ratio ** (2.0 / 7.0) - 1.0) / air.compressor_efficiency)
        intake = hot - air.cooler_effectiveness * (hot - outside)
        flow, exhaust = 0.0, ambient
        for _ in range(200):
            before = flow, exhaust
            loss = (flow / air.flow_kg_s) ** 2 * 1000.0
            manifold = (ambient - air.filter_kpa * loss) * ratio - air.cooler_kpa * loss
            flow = 0.5 * flow + 0.5 * filling * manifold * swept * rpm / 120.0 / (287.053 * intake)
            work = self.braking_mean(manifold, exhaust) * swept * cylinders / engine.cylinders / (4.0 * pi) * rpm * TURN
            heat = (1.0 - self.truck.cooling.coolant_compression_share) * work
            burnt = 298.15 + (1004.5 * (intake - 298.15) + heat / flow) / 1148.0
            behind_it = (ambient - air.filter_kpa * loss) * ratio - ambient
            past = min(max(behind_it / 1000.0 - brake.gate_opens_kpa, 0.0) / air.gate_span_kpa, 0.5)
            behind = ambient + air.exhaust_kpa * loss
            through = (1.0 - past) * flow
            passing = through * (287.053 * burnt) ** 0.5 / (brake.nozzle_cm2 * 1e-4 * behind)
            choked = passing / NOZZLE_FLOW[-1] * NOZZLE_RATIO[-1]
            exhaust = behind * (
                float(np.interp(passing, NOZZLE_FLOW, NOZZLE_RATIO)) if passing < NOZZLE_FLOW[-1] else choked
            )
            if abs(flow - before[0]) < 1e-7 and abs(exhaust - before[1]) < 0.1:
                break
        drop = burnt * air.turbine_efficiency * (1.0 - (behind / exhaust) ** 0.25)
        return flow * 1004.5 * (hot - outside) - air.bearing_efficiency * through * 1148.0 * drop, manifold, exhaust

    def accessories(self, rpm: float) -> float:
        """Torque of steering, alternator, air conditioning, the slipping fan and the compressor, unloaded. [N m]"""
        extras, cooling = self.truck.accessories, self.truck.cooling
        power = extras.steering_idle_w + extras.steering_banking_w + extras.steering_turning_w
        power += extras.electric_w / extras.alternator_efficiency + extras.air_conditioning_w * rpm / 2100.0
        power += 1000.0 * extras.compressor_unloaded_kw * rpm / 2100.0
        turned = cooling.fan_idle_share**2 + cooling.fan_called_share * (1.0 - cooling.fan_idle_share**2)
        power += 1000.0 * (cooling.fan_power_kw * turned * (rpm / 2100.0) ** 3 + cooling.fan_bearing_kw)
        return power / (rpm * TURN)

    def gearbox_losses(self, rpm: float, gear: int) -> tuple[float, float]:
        """Torque that turning alone takes, and the share of what passes through. [N m, -]"""
        box = self.truck.gearbox
        share = box.direct_loss_share if box.ratios[gear - 1] == 1.0 else box.indirect_loss_share
        return box.constant_loss_n_m + box.speed_loss_n_m * rpm / 1000.0, share

    def held_by_engine(self, speed: float, gear: int, stage: int, height: float) -> float:
        """Force at the tyres of the engine and its brake, compressor unloaded, gearbox and axle in overrun. [N]"""
        truck, rpm = self.truck, self.rpm(speed, gear)
        cylinders = 2 * len(truck.engine_brake.pairs(stage))
        torque = self.accessories(rpm) + sum(self.retarding_torques(rpm, cylinders, self.air(height)[0]))
        constant, share = self.gearbox_losses(rpm, gear)
        torque += constant + share * torque
        at_wheels = torque * truck.gearbox.ratios[gear - 1] * truck.driveline.axle_ratio + truck.driveline.axle_drag_n_m
        return at_wheels / truck.driveline.axle_efficiency / truck.tyres.rolling_radius_m

    def push(self, speed: float, gear: int, stage: int, height: float, grade: float) -> float:
        """What the weight pushes beyond everything that holds the truck back but its service brakes. [N]"""
        return -self.resistance(speed, height, grade) - self.held_by_engine(speed, gear, stage, height)

    def resistance(self, speed: float, height: float, grade: float, wind: float = 0.0) -> float:
        """Weight, tyres and air along the road. [N]"""
        body, angle = self.truck.vehicle, atan(grade)
        rolling = cos(angle) * (body.rolling_coefficient + body.rolling_growth_s_per_m * speed)
        air = 0.5 * self.air(height)[1] * body.drag_area_m2 * (speed + wind) * abs(speed + wind)
        return body.mass_kg * G * (sin(angle) + rolling) + air

    def pull(self, speed: float, gear: int) -> float:
        """Force at the tyres with full load on the engine, less its accessories. [N]"""
        engine, driveline, rpm = self.truck.engine, self.truck.driveline, self.rpm(speed, gear)
        torque = float(np.interp(rpm, engine.full_load_rpm, engine.full_load_torque_n_m)) - self.accessories(rpm)
        constant, share = self.gearbox_losses(rpm, gear)
        torque = torque * (1.0 - share) - constant
        at_wheels = torque * self.truck.gearbox.ratios[gear - 1] * driveline.axle_ratio - driveline.axle_drag_n_m
        return at_wheels * driveline.axle_efficiency / self.truck.tyres.rolling_radius_m

    def crawl(self, grade: float, height: float) -> float:
        """The highest speed that any gear below governed speed can keep up on a climb. [m/s]"""
        speeds = np.arange(3.0, 30.0, 0.02)
        gears = range(1, len(self.truck.gearbox.ratios) + 1)
        return max(
            speed
            for speed in speeds
            if any(
                900.0 < self.rpm(speed, gear) <= self.truck.engine.governed_rpm
                and self.pull(speed, gear) >= self.resistance(speed, height, grade)
                for gear in gears
            )
        )

    def litres(self, speed: float, height: float, wind: float = 0.0) -> float:
        """Fuel on the level in the top gear: 42.8 MJ/kg and 0.84 kg/L at the engine's indicated efficiency. [L/100 km]"""
        truck, gear = self.truck, len(self.truck.gearbox.ratios)
        rpm, ratio = self.rpm(speed, gear), truck.gearbox.ratios[gear - 1] * truck.driveline.axle_ratio
        at_wheels = self.resistance(speed, height, 0.0, wind) * truck.tyres.rolling_radius_m
        constant, share = self.gearbox_losses(rpm, gear)
        torque = (at_wheels / truck.driveline.axle_efficiency + truck.driveline.axle_drag_n_m) / ratio
        torque = (torque + constant) / (1.0 - share) + self.accessories(rpm)
        power = (torque + self.retarding_torques(rpm, 0, 1.0e5)[0]) * rpm * TURN
        return power / truck.engine.indicated_efficiency / 42.8e6 / 0.84 * 100_000.0 / speed

    def gain(self, rpm: float, gear: int, stage: int, height: float, grade: float) -> float:
        """Acceleration at an engine speed, wheels and engine turning with the truck. [m/s2]"""
        truck, radius = self.truck, self.truck.tyres.rolling_radius_m
        ratio = truck.gearbox.ratios[gear - 1] * truck.driveline.axle_ratio
        turning = truck.tyres.count * truck.tyres.inertia_kg_m2 + ratio**2 * (
            truck.engine.inertia_kg_m2 + truck.gearbox.input_inertia_kg_m2
        )
        force = self.push(rpm * TURN / ratio * radius, gear, stage, height, grade)
        return force / (truck.vehicle.mass_kg + turning / radius**2)

    def steady(self, gear: int, stage: int, height: float, grade: float) -> float:
        """Speed at which nothing is left to push; infinite when there is none between 900 and 2600 rpm. [m/s]"""
        low, top = (rpm / self.rpm(1.0, gear) for rpm in (900.0, 2600.0))
        at = (gear, stage, height, grade)
        return brentq(self.push, low, top, args=at) if self.push(low, *at) > 0.0 > self.push(top, *at) else inf

    def descent(
        self,
        grades: Iterable[tuple[float, float]],
        limits: Iterable[tuple[float, float]],
        gear: int,
        stage: int,
        style: str,
    ) -> dict[str, float]:
        """Highest temperatures of a descent from grades (m, %) and limits (m, km/h): mean and hottest drum, sets A and B. [C]

        A snub takes the speed 8 km/h down at 0.745 m/s2, so its mean speed is 4 km/h below the limit; a drag holds the limit.
        All that the weight pushes, less what the truck gains in motion, is heat. All starts at 150 F (65.6 C).
        """
        places, steep = np.array(list(grades)).T
        posts = list(limits)
        drums, mass = self.truck.drums, self.truck.vehicle.mass_kg
        groups = [self.truck.steer_brakes, self.truck.drive_brakes, self.truck.trailer_brakes]
        brakes = sum(group.brakes for group in groups)
        mean = hot = a = b = 65.6
        highest, owed, before, height = [mean] * 4, 0.0, None, self.start_height
        for place in np.arange(0.0, places[-1], STEP):
            grade = float(np.interp(place, places, steep)) / 100.0
            limit = next(value for at, value in reversed(posts) if at <= place)
            aimed = (limit - (4.0 if style == "snub" else 0.0)) / 3.6
            speed = min(aimed, self.steady(gear, stage, height, grade))
            pushed = max(self.push(speed, gear, stage, height, grade), 0.0)
            gained = mass * (speed**2 - (before or speed) ** 2) / 2.0
            owed += pushed * STEP - (gained if pushed or gained < 0.0 else 0.0)  # where nothing pushes the engine pulls
            heat, owed, before = max(owed, 0.0), min(owed, 0.0), speed
            seconds, air = STEP / speed, self.air_c - 0.0065 * (height - self.start_height)
            cooled = (drums.still_w_per_k + drums.cooling_w_per_k_per_m_s * speed) * seconds
            share = hottest_share(groups, pushed + (0.745 * mass if style == "snub" else 0.0))
            mean += (heat / brakes - cooled * (mean - air)) / (1000.0 * drums.capacity_kj_per_k)
            hot += (heat * share - cooled * (hot - air)) / (1000.0 * drums.capacity_kj_per_k)
            horsepower, mph, hours = heat / seconds / 745.7, speed / 0.44704, seconds / 3600.0
            k1, k2 = 1.5 * (1.1852 + 0.0331 * mph), 1.0 / (0.1602 + 0.0078 * mph)
            a += k1 * (k2 * horsepower / 1.8 - (a - air)) * hours
            k1, k2 = 1.23 + 0.0256 * mph, 1.0 / (0.100 + 0.00208 * mph)
            b += k1 * (k2 * horsepower / 1.8 - (b - air)) * hours
            highest = [max(pair) for pair in zip(highest, (mean, hot, a, b), strict=True)]
            height += grade * STEP
        return dict(zip(("mean", "hot", "a", "b"), highest, strict=True))


def hottest_share(groups: Iterable[AxleBrakes], force: float) -> float:
    """Share of one brake of the hardest worked group: a group's force is gain x (pressure - threshold), cold."""
    fitted = [group for group in groups if group.brakes]

    def forces(pressure: float) -> list[float]:
        return [1000.0 * each.gain_kn_per_bar * max(pressure - each.threshold_bar, 0.0) for each in fitted]

    if force <= 0.0:
        return 0.0
    found = forces(brentq(lambda pressure: sum(forces(pressure)) - force, 0.0, 12.0))
    return max(part / each.brakes for part, each in zip(found, fitted, strict=True)) / force


def design_truck_crawl(grade: float) -> float:
    """Crawl speed of the 200 lb/hp design truck: TxDOT Roadway Design Manual 4.8.1, Fig. 4-4, as a power balance. [m/s]

    0.85 (P - 20 hp)/v = W (sin + 0.0065 cos) + 0.5 rho CdA v2 with 400 hp, 80,000 lb, 5.66 m2 and 1.225 kg/m3.
    """
    angle, weight = atan(grade), 80_000.0 * 0.45359237 * G

    def over(speed: float) -> float:
        force = 0.85 * 380.0 * 745.7 / speed - 0.5 * 1.225 * 5.66 * speed * speed
        return force - weight * (sin(angle) + 0.0065 * cos(angle))

    return brentq(over, 1.0, 60.0)
