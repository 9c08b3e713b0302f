"""One table of fields per record: name, unit and meaning. Everything that is stored, watched or logged is named here once.

state      what is true: integrated quantities, modes, the forces of the last tick, counters and the energy ledger
belief     what engine controller, gearbox electronics and instruments know, and what the controller works out between two decisions
command    what engine controller, gearbox electronics and dyno have decided; the kernel holds it constant between events
controls   where feet and hands are: all that whoever holds the seat has on the truck
driver     what the model driver means to do, and what his feet remember; read by the laws of his feet alone
parameters truck, settings and weather in SI; faults change named fields of it
"""

import itertools
from typing import NamedTuple

import numpy as np

from sim import units


class Field(NamedTuple):
    """One quantity of a record: its name, SI unit and meaning."""

    name: str
    unit: str
    meaning: str


def _fields(text: str) -> tuple[Field, ...]:
    """Reads lines of `name | unit | meaning`."""
    rows = (line.split("|") for line in text.strip().splitlines())
    return tuple(Field(*(part.strip() for part in row)) for row in rows)


STATE = _fields("""
distance              | m      | along the road from the start
speed                 | m/s    | of the truck
wheel_speed           | m/s    | tread of the drive tyres; equal to the speed unless they slip
acceleration          | m/s2   | of the truck over the last tick
elevation             | m      | above sea level
engine_speed          | rad/s  | crankshaft
shaft_speed           | rad/s  | gearbox input shaft
manifold_pressure     | Pa     | intake manifold, absolute
manifold_heading      | Pa     | where it is heading, absolute
filling_rate          | 1/s    | how fast, per distance from there
turbo_energy          | J      | of the turning rotor
gate                  | -      | share of the exhaust that the waste gate leads past the turbine
breathing             | kg/Pa  | air the cylinders take in during one cycle, per manifold pressure
air_flow              | kg/s   | into the cylinders
escaping_air          | kg/s   | of the charge, through a hole
charge_temperature    | K      | behind the compressor
intake_temperature    | K      | in the intake manifold
exhaust_temperature   | K      | before the turbine
exhaust_pressure      | Pa     | before the turbine, absolute
stack_temperature     | K      | behind the turbine
boost                 | Pa     | intake manifold above outside air
brake_demand          | Pa     | pressure the brake pedal asks for
trailer_demand        | Pa     | pressure the hand valve of the trailer asks for
brake_pressure_steer  | Pa     | service-brake pressure, steer axle
brake_pressure_drive  | Pa     | service-brake pressure, drive axles
brake_pressure_trailer| Pa     | service-brake pressure, trailer axles
brake_temperature_steer | K    | drums of the steer axle
brake_temperature_drive | K    | drums of the drive axles
brake_temperature_trailer | K  | drums of the trailer axles
brake_temperature     | K      | mean over all drums
coolant_temperature   | K      | coolant
oil_temperature       | K      | engine oil
reservoir_pressure    | Pa     | air tanks, above ambient
severity_temperature_a| K      | mean brake temperature by the published model, set A
severity_temperature_b| K      | mean brake temperature by the published model, set B
idle_integral         | N m    | learnt part of the idle governor
clutch_release        | -      | travel of the clutch, 0 open to 1 closed
clutch_engagement     | -      | share of its capacity the clutch can carry now
compressor_pumping    | -      | 1 while the air compressor fills the tanks
gear                  | -      | engaged gear, 0 neutral
splitter              | -      | of a manual gearbox that has one, 0 direct to 1 overdrive; in between neutral
clutch_locked         | -      | 1 while the clutch does not slip
wheel_slip            | -      | 1 while the drive tyres slip
standstill            | -      | 1 while the truck is held at rest
fuel_cut              | -      | 1 while no fuel is injected
smoking               | -      | 1 while more fuel is injected than the air allows
grade                 | -      | rise over run
sine                  | -      | sine of the slope angle
wind                  | m/s    | from ahead
ambient_temperature   | K      | outside air
ambient_pressure      | Pa     | outside air
air_density           | kg/m3  | outside air
air_elevation         | m      | height for which the air was last worked out
full_load_torque      | N m    | rated curve at this speed
fuel_demand           | -      | fuel asked for as a share of full-load fuel
commanded_torque      | N m    | what the controller makes the injectors give, as torque on the pistons of a sound engine
indicated_torque      | N m    | made by the pistons
limiter               | -      | code of what holds the torque down
warm_friction         | N m    | motoring torque with the oil at 90 C
friction_torque       | N m    | motoring torque
compression_torque    | N m    | engine brake
fan_torque            | N m    | fan at the crankshaft
accessory_torque      | N m    | accessories at the crankshaft
engine_torque         | N m    | at the flywheel, negative while it holds back
clutch_torque         | N m    | through the clutch
fuel_rate             | kg/s   | injected
intake_depression     | Pa     | lost before the compressor
back_pressure         | Pa     | behind the turbine, above outside air
absorber_target       | rad/s  | engine speed the dyno is holding now
absorber_learnt       | N m    | slow part of the absorber; on rollers a force in N
absorber_torque       | N m    | of the absorber at the flywheel, negative while it drives the engine
absorber_force        | N      | of the absorber at the rollers
active_cylinders      | -      | cylinders working as an engine brake
engine_brake_power    | W      | taken by the engine as a brake, friction and accessories included; 0 with no cylinder working
fan_power             | W      | at the crankshaft
fan_speed             | rad/s  | on the scale of engine speed
accessory_power       | W      | steering, electrics, air conditioning and air compressor
drive_force           | N      | driveline on the tyres, negative while the engine holds back
aero_force            | N      | air
rolling_force         | N      | tyres
grade_force           | N      | weight, positive uphill
tyre_force            | N      | drive tyres on the road, drive brakes included
brake_force_steer     | N      | service brakes, steer axle
brake_force_drive     | N      | service brakes, drive axles
brake_force_trailer   | N      | service brakes, trailer axles
service_brake_power   | W      | heat made by the service brakes
wheel_utilisation     | -      | force over load on the drive axles
time_over_governed    | s      | engine driven above governed speed by the road
time_racing           | s      | engine above high idle, not driven by the road
time_over_limit       | s      | truck above the posted limit by more than the tolerance
time_wheel_slip       | s      | drive tyres slipping
time_smoking          | s      | fuelled beyond the air there is, by a controller that was misled
stage_time_0          | s      | no cylinder working as a brake
stage_time_1          | s      | engine brake in stage 1
stage_time_2          | s      | engine brake in stage 2
stage_time_3          | s      | engine brake in stage 3
clutch_changes        | -      | times the clutch went from slipping to locked or back
furthest              | m      | furthest place reached so far
rolled_back           | m      | longest way back from the furthest place so far
max_speed             | m/s    | highest so far
max_engine_speed      | rad/s  | highest so far
max_brake_temperature | K      | highest mean so far
max_hottest_brake_temperature | K | highest of any axle group so far
max_speed_place       | m      | where that was, as of the next four
max_engine_speed_place | m     | where
max_brake_temperature_place | m | where
max_hottest_brake_temperature_place | m | where
least_reservoir_pressure_place | m | where
max_severity_temperature_a | K | highest of set A so far
max_severity_temperature_b | K | highest of set B so far
least_reservoir_pressure | Pa  | lowest so far
held_by_engine        | J      | taken by engine and driveline while the foot was off the accelerator
held_by_resistance    | J      | taken by air and tyres while the foot was off the accelerator
held_by_brakes        | J      | taken by the service brakes while the foot was off the accelerator
fuel_mass             | kg     | burnt
indicated_work        | J      | done on the pistons
engine_friction       | J      | friction and pumping
compression           | J      | engine brake
fan                   | J      | fan
accessories           | J      | steering, electrics, air conditioning, air compressor
clutch                | J      | slip of the clutch
gear_synchronising    | J      | input shaft brought to speed by the gears
gearbox               | J      | gearbox
axle                  | J      | drive axle
tyre_slip             | J      | slip of the drive tyres
aero                  | J      | air drag; negative when a tail wind pushes
rolling               | J      | tyres
service_brakes        | J      | service brakes
climb                 | J      | work against the weight, negative downhill; on a dyno against the absorber
pending_combustion    | J      | heat of combustion not yet spread
pending_friction      | J      | heat of engine friction not yet spread
pending_compression   | J      | heat of the engine brake not yet spread
pending_steer         | J      | heat of the steer brakes not yet spread
pending_drive         | J      | heat of the drive brakes not yet spread
pending_trailer       | J      | heat of the trailer brakes not yet spread
exhaust_heat          | J      | left with the exhaust gas, by its flow and temperature
charge_heat           | J      | shed by charge cooler and bearings of the turbocharger
coolant_heat          | J      | shed by the radiator
oil_heat              | J      | shed by the oil pan
brake_heat            | J      | shed by the drums
loaded_fuel           | J      | chemical energy of the fuel while the engine pulled hard, as of the next four
loaded_work           | J      | work of the engine, before fan and accessories
loaded_input          | J      | into the gearbox
loaded_gearbox        | J      | lost in it
loaded_axle           | J      | lost in the axle
""")

BELIEF = _fields("""
engine_speed          | rad/s  | from the crankshaft sensor
road_speed            | m/s    | from pulses and the programmed pulses per mile
manifold_pressure     | Pa     | boost sensor, absolute
ambient_pressure      | Pa     | barometric sensor
coolant_temperature   | K      | coolant sensor
oil_temperature       | K      | oil sensor
reservoir_pressure    | Pa     | air gauge
accelerator           | -      | pedal, as its sensor says
brake_pressed         | -      | service-brake switch
clutch_pressed        | -      | clutch switch
in_gear               | -      | gear engaged
retarding_switch      | -      | engine-brake switch
selector              | -      | engine-brake selector, 0 unreadable
cruise_switch         | -      | cruise switch
set_button            | -      | set button pressed
resume_button         | -      | resume button pressed
cancel_button         | -      | cancel button pressed
fan_switch            | -      | fan switch on the dash
key                   | -      | key on
clutch_locked         | -      | sensors of engine and gearbox input say that the clutch does not slip
wheel_slip            | -      | the antilock controller sees the drive wheels slip
grade                 | -      | rise over run, as the gearbox reads its inclination sensor
acceleration          | m/s2   | from the road speed, smoothed
smooth_speed          | m/s    | road speed, smoothed
judged_speed          | m/s    | road speed the driver goes by: the needle, or tachometer and gear once the needle is not believed
cruise_demand         | -      | what cruise control asks for, as a share of the pedal
cruise_reference      | m/s    | speed cruise control is holding now, on its way to the set speed
cruise_integral       | -      | learnt part of its hold
cruise_pull           | -      | demand it would go on from
driver_demand         | -      | pedal or cruise demand, the larger
altitude_share        | -      | of full torque, allowed by the barometer
matching_error        | rad/s  | engine speed off the one an automated gearbox wants to match
oil_pressure          | Pa     | oil-pressure sensor; only while the circuits are looked at one by one, as all that follow
fuel_temperature      | K      | fuel-temperature sensor
intake_temperature    | K      | intake-air sensor
coolant_level         | -      | coolant-level sensor, share of full
cam_speed             | rad/s  | engine speed from the camshaft sensor
boost_signal          | V      | at the controller's pin, boost sensor
barometer_signal      | V      | at the controller's pin, barometric sensor
oil_pressure_signal   | V      | at the controller's pin, oil-pressure sensor
coolant_signal        | V      | at the controller's pin, coolant sensor
fuel_temperature_signal| V      | at the controller's pin, fuel-temperature sensor
intake_signal         | V      | at the controller's pin, intake-air sensor
oil_signal            | V      | at the controller's pin, oil-temperature sensor
coolant_level_signal  | V      | at the controller's pin, coolant-level sensor
pedal_signal          | V      | at the controller's pin, accelerator sensor
crank_signal          | Hz     | at the controller's pin, crankshaft sensor
cam_signal            | Hz     | at the controller's pin, camshaft sensor
road_speed_signal     | Hz     | at the controller's pin, road-speed sensor
clutch_switch_signal  | V      | at the controller's pin, clutch switch
brake_switch_signal   | V      | at the controller's pin, service-brake switch
retarding_switch_signal| V      | at the controller's pin, engine-brake switch
selector_signal       | V      | at the controller's pin, engine-brake selector
cruise_switch_signal  | V      | at the controller's pin, cruise switch
set_button_signal     | V      | at the controller's pin, set button
resume_button_signal  | V      | at the controller's pin, resume button
fan_switch_signal     | V      | at the controller's pin, fan switch
key_signal            | V      | at the controller's pin, key
""")

COMMAND = _fields("""
gear                  | -      | automated gearbox: gear to be engaged, 0 neutral
clutch                | -      | automated gearbox: 1 closed, 0 open
launching             | -      | automated gearbox: 1 while the clutch is let in with the engine's pull
engine_mode           | -      | automated gearbox: 0 fuel by pedal, 1 hold engine_speed_target, 2 match a gear at the road speed
engine_speed_target   | rad/s  | for mode 1
matching_ratio        | rad/m  | engine turns per way in the gear to be matched, for mode 2
hill_hold             | Pa     | automated gearbox: brake pressure kept while the truck pulls away
gear_limit            | -      | automated gearbox: highest gear the lever allows, 0 any
pair_front            | -      | solenoid of the front pair of cylinders
pair_middle           | -      | solenoid of the middle pair
pair_rear             | -      | solenoid of the rear pair
stage                 | -      | engine-brake stage switched on
stage_requested       | -      | engine-brake stage asked for
stage_reason          | -      | code of what decided the stage
traction_lost         | -      | 1 the engine brake waits for grip after the wheels slipped
waits_for_brake       | -      | 1 the engine brake waits for the service brake to call it, where that is asked for
held_by_cruise        | -      | 1 cruise control holds the speed and calls no stage
fan                   | -      | 1 fan clutch engaged
absorber_mode         | -      | dyno: 0 no load, 1 hold absorber_speed, 2 hold absorber_load
absorber_speed        | rad/s  | engine speed to be held, for mode 1
absorber_rate         | rad/s2 | fastest change of the speed held
absorber_load         | N m    | for mode 2
speed_limit           | m/s    | posted, 0 none
set_speed             | m/s    | speed the cruise control holds, 0 while it does not
cruise_target         | m/s    | speed cruise control works towards: the set speed, or another while a button is held
cruise_stage          | -      | engine-brake stage cruise control calls for
cruise_refused        | -      | 1 a code keeps cruise control off
engine_brake_refused  | -      | 1 a code keeps the engine brake off
fan_asked             | -      | 1 a code asks for the fan
derate                | -      | share of full load the controller withholds
fuel_off              | -      | 1 the controller injects nothing
boost_distrusted      | -      | 1 a substitute stands for the boost sensor
boost_substitute      | Pa     | that substitute
barometer_distrusted  | -      | 1 a substitute stands for the barometric sensor
barometer_substitute  | Pa     | that substitute
oil_pressure_distrusted| -      | 1 a substitute stands for the oil-pressure sensor
oil_pressure_substitute| Pa     | that substitute
coolant_distrusted    | -      | 1 a substitute stands for the coolant sensor
coolant_substitute    | K      | that substitute
fuel_temperature_distrusted| -      | 1 a substitute stands for the fuel-temperature sensor
fuel_temperature_substitute| K      | that substitute
intake_distrusted     | -      | 1 a substitute stands for the intake-air sensor
intake_substitute     | K      | that substitute
oil_distrusted        | -      | 1 a substitute stands for the oil-temperature sensor
oil_substitute        | K      | that substitute
coolant_level_distrusted| -      | 1 a substitute stands for the coolant-level sensor
coolant_level_substitute| -      | that substitute
pedal_distrusted      | -      | 1 a substitute stands for the accelerator sensor
pedal_substitute      | -      | that substitute
""")

# feet first, then hands, in the order of the hands of the model driver below
CONTROLS = _fields("""
accelerator           | -      | pedal, 0 up to 1 down
brake_pedal           | -      | 0 up to 1 down
clutch_pedal          | -      | 0 up to 1 down
lever                 | -      | 0 neutral; manual: the gear, or one of its halves; automated: 1 drive, 2 hold, 3 up, 4 down
splitter              | -      | button of the splitter, 1 overdrive; it moves once no torque holds it
trailer_brake         | -      | hand valve of the trailer brakes, 0 to 1
engine_brake_switch   | -      | 1 on
engine_brake_selector | -      | 1 to 3
cruise_switch         | -      | 1 on
set_coast             | -      | 1 pressed
resume_accelerate     | -      | 1 pressed
cruise_cancel         | -      | 1 pressed
fan_switch            | -      | 1 on
ignition              | -      | 1 on
""")

DRIVER = _fields("""
foot_mode             | -      | 0 pedal as wanted, 1 hold target_speed, 2 hold an engine speed
pedal                 | -      | for mode 0
target_speed          | m/s    | indicated speed to hold, for mode 1
turning               | rad/s  | engine speed to hold, for mode 2
turning_ratio         | rad/m  | for mode 2: engine turns per way in the gear to be matched, 0 for a fixed speed
acceleration_limit    | m/s2   | for raising the reference speed
deceleration_limit    | m/s2   | for lowering it
pedal_rate            | 1/s    | fastest movement of the accelerator
brake_mode            | -      | 0 off, 1 for a deceleration, 2 hold the target speed, 3 stop at a point, 4 fixed pressure
brake_deceleration    | m/s2   | for mode 1
brake_pressure        | Pa     | for mode 4
stop_distance         | m      | for mode 3
clutch_mode           | -      | 0 pedal to clutch_wanted, 1 let in with the engine's pull
clutch_wanted         | -      | 0 up to 1 down, for mode 0
clutch_share          | -      | for mode 1: most of the travel from bite to closed
bite_speed            | rad/s  | for mode 1: engine speed at which the foot begins to let the clutch in
needle_distrusted     | -      | 1 goes by tachometer and gear instead of the speedometer
reference_speed       | m/s    | speed the foot is holding now, on its way to the target
hold_integral         | -      | pedal learnt to hold it
foot                  | -      | accelerator before it is rounded
foot_brake            | Pa     | pressure asked of the brake pedal before it is rounded
foot_clutch           | -      | clutch pedal before it is rounded
turning_error         | rad/s  | engine speed off the one to be held, in mode 2
hand_lever            | -      | the lever is to go there
hand_splitter         | -      | so are the others
hand_trailer_brake    | -      |
hand_engine_brake_switch | -   |
hand_engine_brake_selector | - |
hand_cruise_switch    | -      |
hand_set_coast        | -      |
hand_resume_accelerate| -      |
hand_cruise_cancel    | -      |
hand_fan_switch       | -      |
hand_ignition         | -      |
""")
NEUTRAL, DRIVE, HOLD, UP, DOWN = range(5)  # places of the lever of an automated gearbox
HANDS = tuple(field.name for field in CONTROLS[3:])  # what hands move; the rest is for feet

# what an actor puts in place of the signal of a circuit
_CIRCUITS = tuple(
    field
    for signal in BELIEF
    if signal.name.endswith("_signal")
    for field in (
        Field(signal.name.replace("_signal", "_circuit"), "-", "0 sound, else what it is: see sim.inputs.sensors"),
        Field(signal.name.replace("_signal", "_put"), signal.unit, "what the pin carries then"),
    )
)

PARAMETERS = (
    _fields("""
tick                  | s      | step of the kernel
mass                  | kg     | gross
vehicle_body          | kg     | mass with the inertia of the free-rolling wheels
wheel_body            | kg     | inertia of the drive wheels seen at their tread
tyre_radius           | m      | rolling
drag_area             | m2     | drag coefficient times frontal area
rolling_constant      | -      | coefficient at walking pace
rolling_speed         | s/m    | growth with speed
grip                  | -      | tyre on road
steer_load            | N      | weight on the steer axle
drive_load            | N      | weight on the drive axles
trailer_load          | N      | weight on the trailer axles
start_elevation       | m      | where the weather is stated
start_temperature     | K      | air there
start_pressure        | Pa     | air there
engine_inertia        | kg m2  | engine, flywheel, clutch
shaft_inertia         | kg m2  | gearbox input shaft
displacement          | m3     | all cylinders
cylinders             | -      | number
stroke                | m      | piston stroke
compression_ratio     | -      | geometric
friction_factor       | -      | newer engine against the correlation
curve_first           | rad/s  | first speed of the full-load table
curve_per_step        | s/rad  | one over the step of the full-load table
all_speed             | -      | 1 all-speed governor, 0 limiting-speed
low_idle              | rad/s  | low idle
governed_speed        | rad/s  | full-load governed speed
droop                 | -      | of the high-speed end
overspeed_bound       | rad/s  | trip ends as a runaway above it
idle_gain             | N m s/rad | proportional part of the idle governor
idle_integral_gain    | N m/rad | integral part of the idle governor
idle_integral_limit   | N m    | most the integral part can learn
refuel_span           | rad/s  | above low idle, where fuel returns in overrun
matching_gain         | N m s/rad | engine-speed hold in a shift
road_speed_limit      | m/s    | programmed, 0 none
road_speed_band       | m/s    | span over which it takes fuel away
least_air_fuel        | -      | air per fuel at which fuel is limited
filling_low           | -      | filling of the cylinders at low speed
filling_least         | -      | the same at high speed
filling_from          | rad/s  | engine speed from which it falls
filling_slope         | s/rad  | how fast
manifold_volume       | m3     | from compressor to cylinders
filter_loss           | Pa s2/kg2 | pressure lost before the compressor over air flow squared
cooler_loss           | Pa s2/kg2 | pressure lost in the charge cooler over air flow squared
exhaust_loss          | Pa s2/kg2 | pressure behind the turbine over gas flow squared
blocked_exhaust       | Pa s2/kg2 | of it, more than in a sound engine
charge_leak           | m2     | hole between compressor and cylinders, 0 sound
cooler_effectiveness  | -      | share of the way to outside air
compressor_efficiency | -      | isentropic
turbine_efficiency    | -      | isentropic
bearing_efficiency    | -      | of the rotor
head_per_energy       | 1/kg   | isentropic head per energy of the rotor
nozzle                | m2     | effective area of the turbine
braking_nozzle        | m2     | the same while the engine brake works
gate_opening          | Pa     | boost at which the waste gate opens
braking_gate_opening  | Pa     | the same while the engine brake works
gate_span             | Pa     | boost above it at which all of the exhaust would pass
gate_stuck            | -      | share that a stuck gate passes, below 0 sound
fuel_delivery         | -      | share of the commanded fuel that is injected, 1 sound
most_fuel             | kg/s   | what a plugged filter lets through, 0 sound
tightness             | -      | of the work on the pistons, left by the piston rings, 1 sound
firing_share          | -      | share of the cylinders that fire, 1 sound
indicated_efficiency  | -      | slope of the straight-line fuel model
heating_value         | J/kg   | lower heating value of the fuel
fuel_map_used         | -      | 1 fuel from a map, 0 straight line
fuel_map_speeds       | -      | speeds in the map
fuel_map_first_speed  | rad/s  | first of them
fuel_map_per_speed    | s/rad  | one over the step between them
fuel_map_first_torque | N m    | first flywheel torque of the map
fuel_map_per_torque   | 1/(N m) | one over the step between its torques
braking_work_ratio    | -      | compression work per manifold pressure
braking_returned_share| -      | of the compression work
pair_front_sound      | -      | 1 sound, 0 dead
pair_middle_sound     | -      | 1 sound, 0 dead
pair_rear_sound       | -      | 1 sound, 0 dead
gearbox_constant_loss | N m    | drag at rest
gearbox_speed_loss    | N m    | drag per 1000 rpm
split_from            | -      | first gear that the splitter halves, 0 without one
splitter_time         | s      | the splitter takes from end to end
axle_ratio            | -      | drive axle
axle_efficiency       | -      | tooth efficiency
axle_drag             | N m    | at the wheels
clutch_capacity       | N m    | closed
clutch_close_time     | s      | open to closed
clutch_open_time      | s      | closed to open
bite_speed            | rad/s  | engine speed at which a launch begins to pull
bite_span             | rad/s  | above it, at which the clutch is fully let in
brake_lag_steer       | s      | mean delay
brake_lag_drive       | s      | mean delay
brake_lag_trailer     | s      | mean delay
brake_threshold_steer | Pa     | push-out pressure
brake_threshold_drive | Pa     | push-out pressure
brake_threshold_trailer | Pa   | push-out pressure
brake_gain_steer      | N/Pa   | cold, adjusted
brake_gain_drive      | N/Pa   | cold, adjusted
brake_gain_trailer    | N/Pa   | cold, adjusted
brakes_steer          | -      | number of drums
brakes_drive          | -      | number of drums
brakes_trailer        | -      | number of drums
brake_stroke_steer    | m      | cold push-rod stroke
brake_stroke_drive    | m      | cold push-rod stroke
brake_stroke_trailer  | m      | cold push-rod stroke
stroke_limit          | m      | up to which the force is whole
stroke_end            | m      | at which no force is left
stroke_expansion      | m/K    | growth with drum temperature
stroke_cold           | K      | drum temperature of the cold stroke
drum_capacity         | J/K    | one drum
drum_still            | W/K    | one drum at rest
drum_speed            | W s/(K m) | growth with road speed
brake_response        | s      | the driver's foot
brake_hold_gain       | 1/s    | deceleration asked for per speed above the target
brake_hold_most       | m/s2   | most deceleration asked for while holding a speed
brake_pressure_guess  | Pa s2/m | pressure per deceleration the driver has learnt
brake_limit           | Pa     | most the foot asks for
severity_applies      | -      | 1 when the published brake model covers this truck
fan_coefficient       | W s3/rad3 | fan power over speed cubed
fan_idle_share        | -      | fan over engine speed with the clutch open
fan_called_share      | -      | of the time, with the clutch open, for which others than the coolant have the fan on
fan_bearing_loss      | W      | belt and bearings
steady_accessories    | W      | steering, electrics
air_conditioning      | N m    | at the crankshaft
compressor_unloaded   | N m    | at the crankshaft
compressor_pumping    | N m    | at the crankshaft
compressor_cut_in     | Pa     | tank pressure at which it starts to pump
compressor_cut_out    | Pa     | tank pressure at which it stops
compressor_fill_rate  | Pa/rad | rise of tank pressure per engine turn while pumping
air_leak_rate         | Pa/s   | fall of tank pressure by leaks
applied_leak_rate     | Pa/s   | more of it while the service brakes are applied
moving_air_rate       | Pa/s   | fall of tank pressure by suspension and seats, truck moving
air_per_application   | -      | fall of tank pressure per rise of brake pressure
coolant_capacity      | J/K    | coolant and block
oil_capacity          | J/K    | oil and what it wets
coolant_combustion_share | -   | of the combustion heat
oil_combustion_share  | -      | of the combustion heat
coolant_friction_share| -      | of the engine friction
coolant_compression_share | -  | of the engine brake's work
oil_coolant_exchange  | W/K    | oil cooler
oil_air_exchange      | W/K    | oil pan
thermostat_opens      | K      | begins to open
thermostat_full       | K      | fully open
radiator_closed       | W/K    | thermostat shut
radiator_still        | W/K    | standing, fan off
radiator_road         | W s/(K m) | growth with road speed
radiator_fan          | W s/(K rad) | growth with fan speed
oil_factor_first      | K      | first temperature of the friction-factor table
oil_factor_per_step   | 1/K    | one over the step of that table
fade_first            | K      | first temperature of the fade table
fade_per_step         | 1/K    | one over the step of that table
fitted_pulses         | 1/mi   | pulses per mile the hardware gives
programmed_pulses     | 1/mi   | pulses per mile the controller has been told
engine_speed_gain     | -      | crankshaft sensor
governor_lag          | s      | of the engine speed the controller reads, 0 sound
road_speed_gain       | -      | road-speed sensor
boost_gain            | -      | boost sensor
boost_offset          | Pa     | boost sensor
barometer_gain        | -      | barometric sensor
barometer_offset      | Pa     | barometric sensor
coolant_gain          | -      | coolant sensor
coolant_offset        | K      | coolant sensor
oil_gain              | -      | oil sensor
oil_offset            | K      | oil sensor
hold_integral_time    | s      | learning time of the speed hold
cruise_below          | m/s    | below its speed, where cruise control asks for everything
cruise_above          | m/s    | above it, where it asks for nothing
cruise_acceleration   | m/s2   | for raising its reference speed
cruise_deceleration   | m/s2   | for lowering it
cruise_rate           | 1/s    | fastest change of what it asks for
automated             | -      | 1 an automated gearbox works clutch and gears
reference_lead        | m/s    | most the reference speed runs ahead of the truck
limit_tolerance       | m/s    | above the posted limit before it counts
circuits_watched      | -      | 1 every circuit is worked out each tick: something is wrong, or dialled in by hand
sensor_supply         | V      | supply of the sensors
thermistor_25         | ohm    | thermistors at 25 C
thermistor_beta       | K      | steepness of the thermistors
thermistor_pull_up    | ohm    | fixed resistor in the controller
pressure_low          | -      | share of the supply at no pressure
pressure_high         | -      | share of the supply at full scale
boost_full_scale      | Pa     | boost sensor, absolute
barometer_full_scale  | Pa     | barometric sensor, absolute
oil_pressure_full_scale | Pa   | oil-pressure sensor
pedal_low             | -      | share of the supply, pedal up
pedal_high            | -      | share of the supply, pedal down
selector_low          | -      | share of the supply at position 0 of the selector
selector_step         | -      | share of the supply from position to position
battery               | V      | at the key, engine still
charging              | V      | at the key, alternator charging
charges_from          | rad/s  | engine speed at which the alternator begins to charge
crank_teeth           | -      | tone wheel of the crankshaft
cam_teeth             | -      | tone wheel of the camshaft, which turns at half speed
oil_viscosity_40      | mm2/s  | at 40 C
oil_viscosity_100     | mm2/s  | at 100 C
oil_pressure_idle     | Pa     | at low idle, oil at 100 C
oil_pressure_relief   | Pa     | relief valve
oil_delivery          | -      | oil pump over a sound one
fuel_warming          | -      | share of the way from outside air to coolant
coolant_fill          | -      | coolant there is, share of full
richest_air_fuel      | -      | air per fuel below which nothing more burns
road_speed_weak       | m/s    | below it a weak pickup gives no pulses
coolant_intake_swapped| -      | 1 plugs of coolant and intake-air sensor swapped
boost_oil_swapped     | -      | 1 plugs of boost and oil-pressure sensor swapped
pairs_swapped         | -      | 1 plugs of the engine brake's circuits swapped: middle pair for front and rear
oil_pressure_offset   | Pa     | oil-pressure sensor
fuel_temperature_offset| K      | fuel-temperature sensor
intake_offset         | K      | intake-air sensor
coolant_level_offset  | -      | coolant-level sensor
pedal_offset          | -      | accelerator sensor
absorber_stiffness    | N m s/rad | dyno: torque per engine speed off the one to be held
absorber_settling     | s      | dyno: time in which the absorber learns the load
absorber_capacity     | N m    | dyno: most torque at the flywheel
dyno_form             | -      | 0 a truck on a road, 1 an engine by its flywheel, 2 a truck on rollers, 3 nothing moves but by hand
blower_speed          | m/s    | dyno: air blown at the radiator
""")
    + _CIRCUITS
)


def record_type(fields: tuple[Field, ...]) -> np.dtype:
    """The array type of a record: one double per field, so that it can also be read as a plain row.

    Parameters
    ----------
    fields : tuple of Field
        One of the tables above.
    """
    return np.dtype([(field.name, np.float64) for field in fields])


STATE_TYPE = record_type(STATE)
BELIEF_TYPE = record_type(BELIEF)
COMMAND_TYPE = record_type(COMMAND)
CONTROLS_TYPE = record_type(CONTROLS)
DRIVER_TYPE = record_type(DRIVER)
PARAMETER_TYPE = record_type(PARAMETERS)


ON_A_ROAD, ON_FLYWHEEL, ON_ROLLERS, HELD_STILL = 0.0, 1.0, 2.0, 3.0  # forms of a dyno

# rows of the table array
FULL_LOAD_ROW = 0  # full-load torque against engine speed [N m]
OIL_FACTOR_ROW = 1  # friction factor against oil temperature [-]
FADE_ROW = 2  # brake effectiveness against drum temperature [-]
RATIO_ROW = 3  # gear ratios, index 0 neutral [-]
GEARBOX_SHARE_ROW = 4  # torque share lost, by gear [-]
SETTLED_ROW = (
    5  # torque of a settled engine against its speed, in the air of the start: first what the air allows at full
)
# load, then what one, two and three pairs of cylinders hold back with [N m]
THIN_ROW = 9  # the same four rows in thinner air [N m]
FUEL_MAP_ROW = 13  # first of the rows of the fuel map, one a speed [kg/s]
TABLE_WIDTH = 256

# columns of the road array
ROAD_DISTANCE, ROAD_GRADE, ROAD_GRADE_SLOPE, ROAD_WIND = 0, 1, 2, 3

# the records lie behind one another in one block of doubles; this is where each begins
RECORDS = {"state": STATE, "belief": BELIEF, "command": COMMAND, "controls": CONTROLS, "driver": DRIVER}
_FIRST = dict(zip(RECORDS, itertools.accumulate(map(len, RECORDS.values()), initial=0), strict=False))
MEMORY_SIZE = sum(map(len, RECORDS.values()))
FIRST_CONTROL = _FIRST["controls"]
FIRST_HAND = _FIRST["driver"] + len(DRIVER) - len(HANDS)

# a watch point: numbers, and whole numbers
WATCH_LEVEL, WATCH_DIRECTION, WATCH_RELEASE, WATCH_SCALE = range(4)
WATCH_PLACE, WATCH_ARMED, WATCH_FIRED = range(3)
# entries of the clockwork
TICK, ROAD_PLACE, LOG_ROWS, WATCH_COUNT, LOG_EVERY, WATCHES_FIRED, SEAT, HANDS_EVERY, FEED_ROW, KEPT_ROWS = range(10)
CLOCKWORK_SIZE = 10
# who holds the seat: the laws of the model driver's feet, a recording, or somebody outside who writes the controls
BY_LAW, BY_FEED, BY_OTHERS = range(3)

REASONS = (
    "",
    "cause.foot_off",
    "cause.engine_brake_switch_off",
    "cause.accelerator_pressed",
    "cause.clutch_pressed",
    "cause.neutral",
    "cause.engine_too_slow",
    "cause.oil_too_cold",
    "cause.wheels_slipping",
    "cause.service_brake_called",
    "cause.waiting_for_service_brake",
    "cause.cruise_overspeed",
    "cause.cruise_holds",
    "cause.cruise_fuelling",
    "cause.accelerator_lost",
    "cause.oil_temperature_lost",
    "cause.selector_lost",
    "cause.code_refuses",
)

# what the service brakes are for
BRAKED_FOR = {
    "stop": "cause.brakes_for_stop",
    "limit_or_curve": "cause.brakes_for_limit_or_curve",
    "descent": "cause.brakes_for_descent",
}

LIMITERS = ("none", "full-load curve", "governor", "road-speed limit", "idle governor", "air-fuel limit", "altitude")
NO_LIMITER, FULL_LOAD_CURVE, GOVERNOR, ROAD_SPEED_LIMIT, IDLE_GOVERNOR, AIR_FUEL_LIMIT, ALTITUDE = range(7)


class Column(NamedTuple):
    """One column of the log: exported name, place in the block, unit of the export, and meaning."""

    name: str
    place: int
    unit: str
    meaning: str


def field_place(name: str) -> int:
    """Where a field named like `state.speed` stands in the block of the records.

    Parameters
    ----------
    name : str
        Record, dot, field; record is one of `RECORDS`.

    Raises
    ------
    KeyError
        No such record or field.

    Examples
    --------
    >>> field_place("state.distance")
    0
    """
    return PLACES[name]


PLACES = {
    f"{record}.{entry.name}": _FIRST[record] + index
    for record, fields in RECORDS.items()
    for index, entry in enumerate(fields)
}


def left_the_numbers(block: np.ndarray, parameters: np.ndarray) -> list[str]:
    """What is no finite number: parameters, which nothing inside a trip makes so, or else a record.

    Parameters
    ----------
    block : array
        The records as plain doubles. [SI]
    parameters : array
        Parameter record, shape (1,). [SI]

    Returns
    -------
    quantities : list of str
        Name and meaning of each.
    """
    for fields, values in (
        (PARAMETERS, parameters.view(np.float64)),
        (tuple(itertools.chain(*RECORDS.values())), block),
    ):
        wrong = [field for field, sound in zip(fields, np.isfinite(values), strict=True) if not sound]
        if wrong:
            return [f"{field.name.replace('_', ' ')} ({field.meaning})" for field in wrong]
    return []


def _columns(text: str) -> tuple[Column, ...]:
    """Reads lines of `exported name | source.field | unit ending`."""
    meanings = {f"{record}.{entry.name}": entry.meaning for record, table in RECORDS.items() for entry in table}
    columns = []
    for line in text.strip().splitlines():
        name, place, unit = (part.strip() for part in line.split("|"))
        columns.append(Column(name, field_place(place), unit, meanings[place]))
    return tuple(columns)


LOG = _columns("""
distance_m              | state.distance            |
elevation_m             | state.elevation           |
grade_percent           | state.grade               | percent
speed_m_s               | state.speed               |
engine_speed_rpm        | state.engine_speed        | rpm
gear                    | state.gear                |
accelerator_percent     | controls.accelerator      | percent
cruise_demand_percent   | belief.cruise_demand      | percent
engine_torque_n_m       | state.engine_torque       |
fuel_rate_g_s           | state.fuel_rate           | g_s
boost_kpa               | state.boost               | kpa
brake_stage             | command.stage             |
engine_brake_power_kw   | state.engine_brake_power  | kw
service_brake_power_kw  | state.service_brake_power | kw
brake_pressure_bar      | state.brake_pressure_drive| bar
brake_temperature_c     | state.brake_temperature   | c
brake_temperature_steer_c | state.brake_temperature_steer | c
brake_temperature_drive_c | state.brake_temperature_drive | c
brake_temperature_trailer_c | state.brake_temperature_trailer | c
coolant_temperature_c   | state.coolant_temperature | c
oil_temperature_c       | state.oil_temperature     | c
speed_limit_m_s         | command.speed_limit       |
set_speed_m_s           | command.set_speed         |
target_speed_m_s        | driver.target_speed       |
indicated_speed_m_s     | belief.road_speed         |
fuel_demand_percent     | state.fuel_demand         | percent
stage_requested         | command.stage_requested   |
stage_reason            | command.stage_reason      | reason
active_cylinders        | state.active_cylinders    |
fan_on                  | command.fan               |
wheel_utilisation       | state.wheel_utilisation   |
drive_force_n           | state.drive_force         |
aero_force_n            | state.aero_force          |
rolling_force_n         | state.rolling_force       |
grade_force_n           | state.grade_force         |
clutch_locked           | state.clutch_locked       |
fuel_cut                | state.fuel_cut            |
standstill              | state.standstill          |
wheel_slip              | state.wheel_slip          |
reservoir_pressure_kpa  | state.reservoir_pressure  | kpa
severity_temperature_a_c| state.severity_temperature_a | c
severity_temperature_b_c| state.severity_temperature_b | c
wind_m_s                | state.wind                |
commanded_torque_n_m    | state.commanded_torque    |
full_load_torque_n_m    | state.full_load_torque    |
warm_friction_n_m       | state.warm_friction       |
fan_torque_n_m          | state.fan_torque          |
accessory_torque_n_m    | state.accessory_torque    |
compression_torque_n_m  | state.compression_torque  |
brake_pedal_percent     | controls.brake_pedal      | percent
clutch_pedal_percent    | controls.clutch_pedal     | percent
lever                   | controls.lever            |
splitter                | controls.splitter         |
trailer_brake_percent   | controls.trailer_brake    | percent
engine_brake_switch     | controls.engine_brake_switch |
engine_brake_selector   | controls.engine_brake_selector |
cruise_switch           | controls.cruise_switch    |
set_coast               | controls.set_coast        |
resume_accelerate       | controls.resume_accelerate |
cruise_cancel           | controls.cruise_cancel    |
fan_switch              | controls.fan_switch       |
ignition                | controls.ignition         |
believed_accelerator_percent | belief.accelerator   | percent
believed_brake_pressed  | belief.brake_pressed      |
believed_clutch_pressed | belief.clutch_pressed     |
believed_in_gear        | belief.in_gear            |
believed_engine_speed_rpm | belief.engine_speed     | rpm
believed_oil_temperature_c | belief.oil_temperature | c
believed_coolant_temperature_c | belief.coolant_temperature | c
believed_engine_brake_switch | belief.retarding_switch |
believed_selector       | belief.selector           |
believed_cruise_switch  | belief.cruise_switch      |
believed_set_button     | belief.set_button         |
believed_resume_button  | belief.resume_button      |
believed_fan_switch     | belief.fan_switch         |
believed_wheel_slip     | belief.wheel_slip         |
believed_cancel_button  | belief.cancel_button      |
cruise_stage            | command.cruise_stage      |
held_by_cruise          | command.held_by_cruise    |
waits_for_brake         | command.waits_for_brake   |
traction_lost           | command.traction_lost     |
engine_brake_refused    | command.engine_brake_refused |
""")
LOG_PLACES = np.array([column.place for column in LOG], dtype=np.int64)

# of a dyno run: the same names where the quantity is the same
DYNO_LOG = _columns("""
engine_speed_rpm        | state.engine_speed        | rpm
engine_torque_n_m       | state.engine_torque       |
absorber_torque_n_m     | state.absorber_torque     |
fuel_rate_g_s           | state.fuel_rate           | g_s
boost_kpa               | state.boost               | kpa
accelerator_percent     | controls.accelerator      | percent
fuel_demand_percent     | state.fuel_demand         | percent
limiter                 | state.limiter             | limiter
full_load_torque_n_m    | state.full_load_torque    |
commanded_torque_n_m    | state.commanded_torque    |
indicated_torque_n_m    | state.indicated_torque    |
warm_friction_n_m       | state.warm_friction       |
friction_torque_n_m     | state.friction_torque     |
fan_torque_n_m          | state.fan_torque          |
accessory_torque_n_m    | state.accessory_torque    |
compression_torque_n_m  | state.compression_torque  |
engine_brake_power_kw   | state.engine_brake_power  | kw
brake_stage             | command.stage             |
active_cylinders        | state.active_cylinders    |
intake_depression_kpa   | state.intake_depression   | kpa
back_pressure_kpa       | state.back_pressure       | kpa
manifold_pressure_kpa   | state.manifold_pressure   | kpa
air_flow_kg_s           | state.air_flow            | kg_s
gate_percent            | state.gate                | percent
charge_temperature_c    | state.charge_temperature  | c
intake_temperature_c    | state.intake_temperature  | c
exhaust_temperature_c   | state.exhaust_temperature | c
exhaust_pressure_kpa    | state.exhaust_pressure    | kpa
stack_temperature_c     | state.stack_temperature   | c
turbo_energy_j          | state.turbo_energy        |
coolant_temperature_c   | state.coolant_temperature | c
oil_temperature_c       | state.oil_temperature     | c
fan_on                  | command.fan               |
gear                    | state.gear                |
speed_m_s               | state.speed               |
drive_force_n           | state.drive_force         |
rolling_force_n         | state.rolling_force       |
tyre_force_n            | state.tyre_force          |
absorber_force_n        | state.absorber_force      |
wheel_slip              | state.wheel_slip          |
ambient_pressure_kpa    | state.ambient_pressure    | kpa
ambient_temperature_c   | state.ambient_temperature | c
""")
DYNO_LOG_PLACES = np.array([column.place for column in DYNO_LOG], dtype=np.int64)


class Memory(NamedTuple):
    """The records over one block of doubles."""

    block: np.ndarray
    state: np.ndarray
    belief: np.ndarray
    command: np.ndarray
    controls: np.ndarray
    driver: np.ndarray


def new_memory() -> Memory:
    """An empty block with its records.

    Returns
    -------
    memory : Memory
        Block of shape (fields,), records of shape (1,). [SI]
    """
    block = np.zeros(MEMORY_SIZE)
    parts = np.split(block, list(_FIRST.values())[1:])
    types = (STATE_TYPE, BELIEF_TYPE, COMMAND_TYPE, CONTROLS_TYPE, DRIVER_TYPE)
    return Memory(block, *(part.view(kind) for part, kind in zip(parts, types, strict=True)))


def exported(values: np.ndarray, unit: str) -> np.ndarray:
    """A logged SI column in the unit of its exported name.

    Parameters
    ----------
    values : array
        Shape (rows,). [SI]
    unit : str
        Unit ending of the column.

    Returns
    -------
    values : array
        Shape (rows,). [unit]
    """
    if unit in ("", "reason", "limiter"):
        return values
    if unit == "g_s":
        return values * 1000.0
    factor = units.to_si(1.0, unit) - units.to_si(0.0, unit)
    return (values - units.to_si(0.0, unit)) / factor
