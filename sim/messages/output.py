"""What is wrong with a folder or files that are to be written."""

from pathlib import Path

from sim.messages._parts import shortened

# ---------------------------------------------------------------- the folder of a trip


def folder_is_file(*, out: str) -> str:
    """Said when results shall go into a file."""
    return f"--out {shortened(out)}: is a file; name a folder"


def link_to_nothing(*, out: str, link: Path) -> str:
    """Said when results shall go where a link leads nowhere, or back to itself."""
    return f"--out {shortened(out)}: {shortened(link)} is a link that leads nowhere; remove it, or name another folder"


def below_a_file(*, out: str, file: Path) -> str:
    """Said when results shall go into a folder below a file."""
    return f"--out {shortened(out)}: {shortened(file)} is a file; name a folder of yours"


def control_character(*, out: str) -> str:
    """Said when a path holds a character that no one can see."""
    return f"--out {shortened(repr(out))}: has a control character in it; give a plain path"


def folder_not_empty(*, out: str) -> str:
    """Said when a folder holds something already."""
    return f"--out {shortened(out)}: the folder is not empty; name another one or add --force"


def folder_unusable(*, out: str, reason: str) -> str:
    """Said when the system does not let a folder be looked at."""
    return f"--out {shortened(out)}: cannot be used ({shortened(reason)}); name a folder of yours"


def folder_locked(*, out: str, parent: Path) -> str:
    """Said when nothing may be written where the folder is or shall be."""
    return f"--out {shortened(out)}: {shortened(parent)} cannot be written to; name a folder of yours"


def not_written(*, out: str, reason: str) -> str:
    """Said when writing fails half-way; everything is as it was."""
    return f"--out {shortened(out)}: cannot be written ({shortened(reason)}); nothing was written. Make room or name another place."


# ---------------------------------------------------------------- the files of a road


def no_file_name(*, out: str) -> str:
    """Said when a path without ending ends in no name."""
    return f'--out "{shortened(out)}": names no file; give a path without ending, for example roads/my-road'


def no_folder(*, out: str, folder: Path) -> str:
    """Said when the folder of a road is not there."""
    return f"--out {shortened(out)}: there is no folder {shortened(folder)}; make it first, or name another one"


def file_is_folder(*, out: str, target: Path) -> str:
    """Said when a folder stands where a file of a road shall be."""
    return f"--out {shortened(out)}: {shortened(target)} is a folder; name another road"


def file_is_there(*, out: str, target: Path) -> str:
    """Said when a file of a road is there already."""
    return f"--out {shortened(out)}: {shortened(target)} is there already; name another road or add --force"


def place_locked(*, out: str, reason: str) -> str:
    """Said when nothing may be written where a road shall be."""
    return f"--out {shortened(out)}: cannot be written ({shortened(reason)}); name a folder of yours"


def track_itself(*, out: str, target: Path) -> str:
    """Said when a road would be written over the track it is made from."""
    return f"--out {shortened(out)}: {shortened(target)} is the track itself; name another road"


# ---------------------------------------------------------------- the bus


def bus_needs_folder() -> str:
    """Said when the files of the bus are asked for and no folder to write them into."""
    return "--bus writes bus.log and bus.dbc; add --out DIR to say where"


def bus_library_missing(*, library: str) -> str:
    """Said when a library that packs the frames of the bus is not installed."""
    return (
        f'the bus needs the library {shortened(library)}; install it with: pip install -c constraints.txt -e ".[bus]"'
    )


def bus_needs_meters() -> str:
    """Said when frames are asked for of a trip that was driven without meters on its circuits."""
    return "this trip had no meters on, which the bus tells from; put them on by driving it with bus_settings(settings)"
