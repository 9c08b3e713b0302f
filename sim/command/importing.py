"""`haulbench route`: a road from a track, its files, and what was done to it in words."""

from argparse import Namespace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sim.command.folder import check_files, write_files
from sim.errors import RouteError
from sim.messages import output, tracks
from sim.units import quantity_in, quantity_text, to_si

if TYPE_CHECKING:
    from sim.roads.track import ImportedTrack

ENDINGS = (".csv", ".toml", ".svg")
MOST_LINES = 5  # of one kind: gaps, jumps, grades held


def make_route(options: Namespace) -> int:
    """A road from a GPX track or a table of distance and elevation.

    Raises
    ------
    HaulbenchError
        The track cannot be used or the road cannot be written.
    """
    every = _length("--every", options.every, "m", "25m")
    smooth = _length("--smooth", options.smooth, "m", "200m")
    limit = None if options.limit is None else to_si(_length("--limit", options.limit, "km_h", "80km/h"), "km_h")
    stem = options.out
    for ending in ENDINGS:
        stem = stem.removesuffix(ending)
    check_files(stem, ENDINGS, options.force)
    _check_not_itself(options.file, stem)
    from sim.roads.track import import_track
    from sim.roads.track_picture import track_picture

    track = import_track(options.file, every, smooth, limit)
    texts = (track.csv(), track.toml(), track_picture(track, options.units))
    write_files(stem, dict(zip(ENDINGS, texts, strict=True)), options.force)
    print(import_text(track, options.units))
    print(f"\nWritten: {', '.join(stem + ending for ending in ENDINGS)}")
    print(f"Drive it: haulbench run {stem}.csv")
    return 0


def _length(flag: str, text: str, unit: str, example: str) -> float:
    """The number behind a flag, in the unit of the flag."""
    try:
        return quantity_in(text, unit)
    except ValueError as problem:
        raise RouteError(tracks.flag_number(flag=flag, text=text, problem=str(problem), example=example)) from None


def _check_not_itself(file: str, stem: str) -> None:
    """Refuses to write the road over the track it is made from."""
    for ending in ENDINGS:
        target = Path(stem + ending)
        try:
            same = target.exists() and target.samefile(file)
        except (OSError, ValueError):
            same = False
        if same:
            raise RouteError(output.track_itself(out=stem, target=target))


def import_text(track: "ImportedTrack", units: str) -> str:
    """What a person reads after an import.

    Parameters
    ----------
    units : str
        us, metric or both.

    Returns
    -------
    text : str
        What was read, dropped and changed, and what came out. [as asked]
    """
    from sim.roads.track import SIGN_REACH
    from sim.roads.track_words import NO_LIMIT, bends_told, climb_told, unseen_told

    told = partial(quantity_text, units=units)
    far = partial(quantity_text, kind="distance", units=units, digits=2)
    high = partial(quantity_text, kind="height", units=units)
    used = len(track.raw_distance)
    away, where = track.departure
    steepest = max(track.grade.min(), track.grade.max(), key=abs)
    dropped = ", ".join(f"{count} {reason}" for reason, count in track.dropped.items())
    filled = ", ".join(f"{count} {reason}" for reason, count in track.heights_filled.items())
    pieces = f" in {track.pieces} pieces, joined in order" if track.pieces > 1 else ""
    rows = [
        ("points", f"{track.points_read} read{pieces}, {used} used" + (f"; dropped: {dropped}" if dropped else "")),
        ("heights interpolated", filled or "none"),
        ("length", far(track.length)),
        ("climb", climb_told(track, told)),
        ("steepest", f"{100 * steepest:.1f} %, range {100 * track.grade.min():.1f} to {100 * track.grade.max():.1f} %"),
        ("smoothed over", f"{high(track.smooth)}; {len(track.distance)} rows"),
        (
            "furthest from recorded",
            f"{high(abs(away), digits=1)} {'above' if away > 0 else 'below'} at {far(where)}",
        ),
    ]
    rows += [("bends", bends_told(track, told)), ("bends not to be seen", unseen_told(track, told))]
    if track.signs or track.waypoints_left:
        rows.append(
            (
                "signs",
                f"{len(track.signs)}; left out for being over {high(SIGN_REACH)} from the track: {track.waypoints_left}",
            )
        )
    if track.limit is None:
        rows.append(("posted limit", f"{NO_LIMIT}; --limit posts one"))
    else:
        rows.append(("posted limit", f"{quantity_text(track.limit, 'speed', units)}, given, on the whole road"))
    lines = [track.title, "", *(f"  {name:24}{text}" for name, text in rows)]
    notes = [
        [f"  ! gap of {high(gap.length)} at {far(gap.start)}: bridged straight" for gap in track.gaps],
        [
            f"  ! recorded height jumps by {high(jump.length, digits=1)} at {far(jump.start)}: smoothed over, check it"
            for jump in track.jumps
        ],
        [
            f"  ! steeper than 20 % for {high(held.length)} at {far(held.start)}: held at 20 %, height kept"
            " by the road beside it"
            for held in track.bound
        ],
    ]
    for kind in notes:
        lines += kind[:MOST_LINES]
        if len(kind) > MOST_LINES:
            lines.append(f"    and {len(kind) - MOST_LINES} more like it")
    return "\n".join(lines)
