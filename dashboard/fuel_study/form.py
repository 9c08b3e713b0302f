"""The form of the Fuel study page: what a browser may ask, as the tables of a study file, read like one."""

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard.server.runs import UPLOAD, Workshop
from dashboard.server.setups import read_road
from sim.errors import StudyError
from sim.inputs.files import list_trucks
from sim.messages import browser as say
from sim.roads.route import Route
from sim.studies.plan import Plan, make_plan
from sim.studies.question import FORM, read_study, study_from
from sim.trips.compare import read_vary

READY = ("axle-ratio", "road-speed", "load", "what-it-is-worth", "sensitivity", "descent")
OWN = "own"
KEYS = 3  # lines of the form with a key and its values
LONGEST = 300  # letters of a line
REPORT = ("fuel_l_per_100km", "time_s", "fuel_mpg_us", "gear_shifts", "max_brake_temperature_c")
NOT_HERE = ("simulation", "truck", "road", "settings", "case")  # tables and words; `road_speed` is neither


def plan_of(form: Mapping[str, Any], workshop: Workshop | None = None) -> Plan:
    """The study a form asks for.

    Parameters
    ----------
    form : mapping
        `ready` (a shipped study, or own), and for an own one `roads`, `trucks`, `keys` and `values`.

    Raises
    ------
    HaulbenchError
        The form asks for something that cannot be driven here.
    """
    ready = form.get("ready", OWN)
    if ready in READY:
        return make_plan(read_study(ready))
    if ready != OWN:
        raise StudyError(say.not_known(name=str(ready), what="studies", known=[*READY, OWN]))
    roads, trucks = _texts(form, "roads"), _texts(form, "trucks")
    for word, chosen in (("road", roads), ("truck", trucks)):
        if not chosen:
            raise StudyError(say.nothing_chosen(word=word))
    given: dict[str, Route] = {}
    for place, road in enumerate(roads):
        route = read_road(road, workshop)
        if road.startswith(UPLOAD):
            name = uploaded_name(road, route.title)
            given[name], roads[place] = route, name
    for truck in trucks:
        if truck not in list_trucks():
            raise StudyError(say.not_known(name=truck, what="trucks", known=list_trucks()))
    vary: dict[str, Any] = {"road": roads, "truck": trucks}
    for key, values in zip(_texts(form, "keys"), _texts(form, "values"), strict=False):
        if not key.strip() and not values.strip():
            continue
        if key.strip().partition(".")[0] in NOT_HERE:
            raise StudyError(say.key_not_here(key=key.strip()))
        if key.strip() in vary:
            raise StudyError(say.named_twice(key=key.strip()))
        vary |= {name.strip(): each for name, each in read_vary([f"{key.strip()}={values}"]).items()}
    single = {name: each[0] for name, each in vary.items() if name in ("road", "truck") and len(each) == 1}
    tables = {
        "form": FORM,
        "title": f"{_joined(roads)} with {_joined(trucks)}",
        "question": "What does each of these do to fuel and time?",
        "report": list(REPORT),
        "vary": {name: each for name, each in vary.items() if name not in single},
        **single,
    }
    return make_plan(study_from(tables, "fuel-study", "study"), given)


def uploaded_name(address: str, title: str = "") -> str:
    """What an uploaded road is called in a study: no other road has this name.

    Parameters
    ----------
    address : str
        Of `Workshop.keep_road`.
    title : str
        Of the road, where it is known.

    Examples
    --------
    >>> uploaded_name("upload:3f2a9c01d2", "Our hill"), uploaded_name("upload:3f2a9c01d2")
    ('Our hill, uploaded 3f2a9c', 'uploaded 3f2a9c')
    """
    number = f"uploaded {address.removeprefix(UPLOAD)[:6]}"
    plain = " ".join(title.split())[:40].strip()
    return f"{plain}, {number}" if plain else number


def _texts(form: Mapping[str, Any], name: str) -> list[str]:
    """A list of short lines of text from a browser."""
    given = form.get(name) or []
    if not isinstance(given, Sequence) or isinstance(given, str) or len(given) > 40:
        raise StudyError(say.no_line(name=name))
    for text in given:
        if text is not None and (not isinstance(text, str) or len(text) > LONGEST or "\n" in text or "\0" in text):
            raise StudyError(say.long_text(name=name, most=LONGEST))
    return [text or "" for text in given]


def _joined(names: Sequence[str]) -> str:
    """Names in a title."""
    return names[0] if len(names) == 1 else f"{len(names)} of them: {', '.join(names)}"
