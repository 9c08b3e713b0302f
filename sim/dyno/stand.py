"""A test stand: an engine or a truck, its absorber, and a hand on the pedal; moved by plain calls, one after the other.

A run that is judged is made `under_test`: with the scatter of its seed, and broken off at the limits of the stand. Before it the
engine is held under load until coolant and oil stay, `stabilised`.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Self

import numpy as np

from sim.actors import brake_stages, diagnosis, fan, faults, meters
from sim.actors.underway import Underway
from sim.dyno.gauges import Gauge
from sim.dyno.result import Columns, DynoResult, dyno_columns
from sim.errors import SettingsError
from sim.inputs.specs import Circuits, Faults, Settings, Truck
from sim.march.assemble import assembled, initial_records
from sim.march.clock import Clock, Rig
from sim.march.controller import gallery_pressure
from sim.march.records import DYNO_LOG_PLACES, ON_FLYWHEEL, ON_ROLLERS
from sim.messages import dyno as say
from sim.roads.route import Route, load_route
from sim.units import CELSIUS_ZERO, REVOLUTION_PER_MINUTE, STANDARD_GRAVITY, to_si
from sim.wording import Finding

LEVEL = "grade:0%,1km"  # what a dyno stands on; its air is that of the weather, or the standard one at sea level
FIRST_SPEED = 1100.0  # rpm at which a truck begins to turn the rollers
SETTLED = 0.5  # rpm in a second
PATIENCE = 120.0  # s
LOOK, STAYS = 0.5, 3.0  # s between two looks at what would break a run off, and that it lasts; an overspeed need not
WARM_TIME, WARM_BAND = 120.0, 0.02  # s, of the mean: coolant and oil vary less (published: 40 CFR 1065.510, 2004)
WARM_LOAD = 0.25  # pedal
THERMOSTAT_NEAR = 5.0  # K below the opening of the thermostat, from where coolant is warm
LONGEST_WARM_UP = 2400.0  # s
OIL_FROM = 0.8  # of low idle: below it no oil pressure is asked for


class AbortedError(Exception):
    """A run broken off at a limit of its stand.

    Parameters
    ----------
    stand : Stand
        On which it was made.
    told : Finding
        Limit, reading, what to do.
    gauge : Gauge
        The reading beside the limit.
    """

    def __init__(self, stand: "Stand", told: Finding, gauge: Gauge) -> None:
        super().__init__(told.kind)
        self.stand, self.told, self.gauge = stand, told, gauge


def direct_gear(truck: Truck, settings: Settings) -> int:
    """The gear for the rollers: the one asked for, or the one nearest to direct.

    Raises
    ------
    SettingsError
        The gearbox has no such gear.
    """
    ratios = truck.gearbox.ratios
    asked = settings.dyno.gear
    if asked > len(ratios):
        raise SettingsError(say.no_such_gear(asked=asked, gears=len(ratios)))
    return asked or 1 + int(np.argmin([abs(ratio - 1.0) for ratio in ratios]))


def check_times(settings: Settings) -> None:
    """Refuses failures and values by hand that begin at a place.

    Raises
    ------
    SettingsError
        One begins at a place: a dyno has no road.
    """
    texts = (*settings.faults.occur, *settings.circuits.dialled)
    for text, asked in zip(texts, [*settings.faults.occurrences(), *settings.circuits.values()], strict=True):
        if asked.trigger == "place" and asked.begin > 0.0:
            raise SettingsError(say.no_place_on_the_dyno(text=text))


class Stand:
    """An engine or a truck on its absorber.

    Parameters
    ----------
    settings : Settings
        Weather, start temperatures and the table `dyno`.
    log_s : float
        Time between rows of the log. [s]
    """

    def __init__(self, truck: Truck, settings: Settings, log_s: float = 0.1) -> None:
        self.truck, self.settings = truck, settings
        check_times(settings)
        dyno = settings.dyno
        self.chassis = dyno.form == "chassis"
        route: Route = load_route(LEVEL)
        parameters, tables = assembled(truck, settings, route.start_elevation)
        p = parameters[0]
        p["absorber_stiffness"] = dyno.stiffness_n_m_s_per_rad
        p["absorber_settling"] = dyno.settling_s
        p["absorber_capacity"] = dyno.capacity_n_m
        p["blower_speed"] = dyno.si("blower_km_h")
        gear = direct_gear(truck, settings) if self.chassis else 0
        speed = 0.0
        if self.chassis:
            speed = self._on_rollers(p, tables, gear)
        else:
            self._bare(p)
        memory = initial_records(settings, route, parameters, tables, gear, speed)
        c, s, k, d = memory.command[0], memory.state[0], memory.controls[0], memory.driver[0]
        if not self.chassis:
            # the switches of clutch and gearbox are bridged, so that the engine brake can be called
            s["gear"] = c["gear"] = 1.0
            s["clutch_release"] = s["clutch_engagement"] = c["clutch"] = 1.0
            k["clutch_pedal"] = d["foot_clutch"] = d["clutch_wanted"] = 0.0
            if p["automated"] < 0.5:
                k["lever"] = d["hand_lever"] = 1.0
        for name in ("brake_demand", "brake_pressure_steer", "brake_pressure_drive", "brake_pressure_trailer"):
            s[name] = 0.0
        k["brake_pedal"] = d["foot_brake"] = d["brake_mode"] = 0.0
        k["accelerator"] = d["foot"] = 0.0
        d["pedal_rate"] = 10.0
        self.log_every = max(1, round(log_s / settings.simulation.tick_s))
        rig = Rig(memory, parameters, tables, np.zeros((1, 4)))
        self.clock = Clock(rig, self.log_every, DYNO_LOG_PLACES)
        self.trip = Underway(self.clock, truck, settings, route, wheels=self.chassis)
        tested = (diagnosis.diagnosis(self.trip),) if self.trip.watched else ()
        alive = (
            *faults.happenings(self.trip),
            fan.fan_clutch(self.trip),
            brake_stages.traction(self.trip),
            brake_stages.brake_stages(self.trip),
            *tested,
        )
        for process in (*alive, meters.meters(self.trip)):
            self.clock.process(process)
        self.clock.load_kernel()
        self.limited, self.past = False, dict.fromkeys(("abort.oil_pressure", "abort.coolant", "abort.exhaust"), 0.0)
        self.cylinders = np.ones(truck.engine.cylinders)

    @classmethod
    def under_test(cls, truck: Truck, settings: Settings, log_s: float = 0.1) -> Self:
        """A stand whose run is judged: with the scatter of its seed, and with limits that break it off.

        Parameters
        ----------
        log_s : float
            Time between rows of the log. [s]
        """
        stand = cls(truck, settings, log_s)
        dyno = settings.dyno
        drawn = np.random.default_rng(dyno.seed).standard_normal(1 + truck.engine.cylinders)
        stand.parameters["fuel_delivery"] *= 1.0 + dyno.si("scatter_percent") * drawn[0]
        stand.cylinders = 1.0 + dyno.si("cylinder_scatter_percent") * drawn[1:]
        stand.cylinders /= np.mean(stand.cylinders)
        stand.cylinders[[k - 1 for k in truck.condition.dead_cylinders]] = 0.0
        stand.cut_out(0)
        stand.limited = True
        return stand

    def cut_out(self, cylinder: int) -> None:
        """Switches one injector off; the others give fuel.

        Parameters
        ----------
        cylinder : int
            From 1; 0 for none.
        """
        shares = self.cylinders.copy()
        if cylinder:
            shares[cylinder - 1] = 0.0
        self.parameters["firing_share"] = np.mean(shares)

    @staticmethod
    def _bare(p: np.void) -> None:
        """An engine alone: what the truck hangs on it stays in the truck, cooling is the dyno's."""
        p["dyno_form"] = ON_FLYWHEEL
        for name in ("fan_coefficient", "fan_bearing_loss", "steady_accessories", "air_conditioning", "air_leak_rate"):
            p[name] = 0.0
        p["applied_leak_rate"] = p["moving_air_rate"] = 0.0

    def _on_rollers(self, p: np.void, tables: np.ndarray, gear: int) -> float:
        """The drive axles on rollers, the rest of the truck standing still."""
        dyno = self.settings.dyno
        p["dyno_form"] = ON_ROLLERS
        p["mass"] = p["drive_load"] / STANDARD_GRAVITY
        p["vehicle_body"] = dyno.roller_mass_kg
        p["drag_area"] = 0.0
        p["rolling_constant"] *= dyno.roller_tyre_factor
        p["rolling_speed"] *= dyno.roller_tyre_factor
        ratio = self.truck.gearbox.ratios[gear - 1] * p["axle_ratio"]
        return float(FIRST_SPEED * REVOLUTION_PER_MINUTE * p["tyre_radius"] / ratio)

    @property
    def row_s(self) -> float:
        """Time between rows of the log. [s]"""
        return self.log_every * self.clock.tick

    @property
    def parameters(self) -> np.ndarray:
        """The parameter record, shape (1,). [SI]"""
        return self.clock.rig.parameters

    @property
    def rpm(self) -> float:
        """Engine speed. [rpm]"""
        return self.clock.true("engine_speed") / REVOLUTION_PER_MINUTE

    @property
    def now(self) -> float:
        """Time since the start. [s]"""
        return self.clock.seconds

    def columns(self, first: int = 0, last: int | None = None) -> Columns:
        """Rows of what has been logged, as named columns.

        Parameters
        ----------
        first : int
            Row; negative from the end.
        last : int or None
            The row after; None for all.
        """
        log = self.clock.log()[first:last]
        return dyno_columns(log, self.clock.tick, self.truck, self.settings, self.parameters)

    def result(
        self,
        test: str,
        summary: dict[str, Any],
        whole: Columns,
        points: Columns,
        sets: Mapping[str, Columns],
        sources: dict[str, str] | None,
    ) -> DynoResult:
        """What a test made on this stand leaves behind, with the codes its controller has set and what the meters showed.

        Parameters
        ----------
        test : str
            Name of the test.
        whole : mapping of str to array
            The run in time.
        sources : dict or None
            Mark and source of each number of the truck.
        """
        codes = [code.summary() for code in self.trip.codes.values()]
        readings = {name: np.frombuffer(values) for name, values in self.trip.readings.items()}
        whole_summary = summary | {"codes": codes}
        return DynoResult(test, whole_summary, whole, points, sets, self.truck, self.settings, sources or {}, readings)

    @property
    def rows(self) -> int:
        """How many rows the log has. [-]"""
        return len(self.clock.log())

    def run(self, seconds: float) -> None:
        """Lets time pass.

        Parameters
        ----------
        seconds : float
            [s]
        """
        end = int(self.clock.now) + max(1, round(seconds / self.clock.tick))
        look = max(1, round(LOOK / self.clock.tick)) if self.limited else end
        while self.clock.now < end:
            self.clock.run(until=min(int(self.clock.now) + look, end))
            if self.limited:
                self._look()

    def _look(self) -> None:
        """Breaks the run off at a limit of the stand."""
        dyno, true = self.settings.dyno, self.clock.true
        coolant, exhaust = true("coolant_temperature"), true("exhaust_temperature")
        speed, oil = true("engine_speed"), float(gallery_pressure(self.clock.state[0], self.clock.rig.parameters[0]))
        if speed < OIL_FROM * to_si(self.truck.engine.low_idle_rpm, "rpm"):
            oil = np.inf
        since = self.clock.log_parts()[-1][-max(round(LOOK / self.row_s), 1) :, 1]
        fastest = to_si(self.truck.engine.high_idle_rpm + dyno.abort_over_rpm, "rpm")
        for name, read, value, quantity, ends in (
            ("abort.overspeed", "gauge.abort_overspeed", max(speed, *since), "engine speed", {"most": fastest}),
            (
                "abort.oil_pressure",
                "gauge.abort_oil_pressure",
                oil,
                "gauge pressure",
                {"least": dyno.si("abort_oil_kpa")},
            ),
            ("abort.coolant", "gauge.abort_coolant", coolant, "temperature", {"most": dyno.si("abort_coolant_c")}),
            ("abort.exhaust", "gauge.abort_exhaust", exhaust, "temperature", {"most": dyno.si("abort_exhaust_c")}),
        ):
            gauge = Gauge(read, value, quantity, "source.abort", **ends)
            if name in self.past:
                self.past[name] = self.past[name] + LOOK if gauge.out else 0.0
            if gauge.out and self.past.get(name, STAYS) >= STAYS:
                (limit,) = ends.values()
                told = Finding(name, {"found": value, "limit": limit, "after": self.now, "speed": speed})
                raise AbortedError(self, told, gauge)

    def pedal(self, share: float) -> None:
        """Moves the pedal.

        Parameters
        ----------
        share : float
            0 to 1.
        """
        self.clock.mean(foot_mode=0.0, pedal=share)

    def unload(self) -> None:
        """Lets the absorber go."""
        self.clock.set(absorber_mode=0.0)

    def hold(self, rpm: float, rate: float) -> None:
        """Has the absorber take the engine to a speed and hold it there.

        Parameters
        ----------
        rpm : float
            [rpm]
        rate : float
            Fastest change of the speed held. [rpm/s]
        """
        self.clock.set(
            absorber_mode=1.0, absorber_speed=rpm * REVOLUTION_PER_MINUTE, absorber_rate=rate * REVOLUTION_PER_MINUTE
        )

    def load(self, torque: float) -> None:
        """Has the absorber take a torque whatever the speed.

        Parameters
        ----------
        torque : float
            At the engine. [N m]
        """
        self.clock.set(absorber_mode=2.0, absorber_load=torque)

    def call_stage(self, stage: int) -> None:
        """Calls a stage of the engine brake by its switch, foot off; 0 lets it go.

        Parameters
        ----------
        stage : int
            0 to 3.
        """
        self.clock.mean(hand_engine_brake_switch=float(stage > 0), hand_engine_brake_selector=max(stage, 1))
        self.pedal(0.0)

    def settle(self, least: float = 3.0) -> None:
        """Waits until the speed stays.

        Parameters
        ----------
        least : float
            [s]
        """
        self.run(least)
        began, before = self.now, self.rpm
        while self.now - began < PATIENCE:
            self.run(1.0)
            if abs(self.rpm - before) < SETTLED:
                return
            before = self.rpm


@lru_cache(maxsize=64)
def stabilised(truck: Truck, settings: Settings) -> tuple[Settings, Finding]:
    """Holds a truck at rated speed and a quarter of the pedal until coolant and oil stay, before whatever fails or is dialled in.

    Parameters
    ----------
    settings : Settings
        Weather, start temperatures and the table `dyno`.

    Returns
    -------
    settings : Settings
        With coolant and oil at the start as they are then.
    told : Finding
        That they stay, or do not.

    Raises
    ------
    AbortedError
        At a limit of the stand.

    References
    ----------
    [1] 40 CFR 1065.510 (2004): warm until oil and water vary less than 2 % in 2 min (published); here of degrees Celsius, to
        either side of their mean.
    """
    sound = settings.model_copy(update={"faults": Faults(), "circuits": Circuits()})
    stand = Stand(truck, sound, log_s=1.0)
    stand.limited = True
    stand.run(2.0)
    stand.hold(truck.engine.rated_speed_rpm, 100.0)
    stand.pedal(WARM_LOAD)
    span, steady = round(WARM_TIME / stand.row_s), False
    while not steady and stand.now < LONGEST_WARM_UP:
        stand.run(10.0)
        columns = stand.columns(-span)
        pair = columns["coolant_temperature_c"], columns["oil_temperature_c"]
        opens = float(pair[0].min()) > truck.cooling.thermostat_opens_c - THERMOSTAT_NEAR
        still = all(float(np.ptp(each)) < 2.0 * WARM_BAND * float(np.mean(each)) for each in pair)
        steady = stand.now >= WARM_TIME and opens and still
    coolant, oil = stand.clock.true("coolant_temperature"), stand.clock.true("oil_temperature")
    warm = {"coolant_temperature_c": coolant - CELSIUS_ZERO, "oil_temperature_c": oil - CELSIUS_ZERO}
    kind = "dyno.stabilised" if steady else "dyno.not_stabilised"
    told = Finding(kind, {"after": stand.now, "coolant": coolant, "oil": oil})
    return settings.model_copy(update={"start": settings.start.model_copy(update=warm)}), told
