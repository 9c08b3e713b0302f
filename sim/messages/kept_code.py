"""What is said of compiled code that cannot be kept, or cannot be used as it was kept; the work goes on."""

from sim.messages._parts import shortened

# what is wrong with a folder
NOT_ABSOLUTE = "there is no home folder"
A_LINK = "it is a link or a file"
OF_ANOTHER = "it belongs to another user"
OTHERS_WRITE = "others may write into it"
OTHER_BYTES = "a file holds other bytes than were written"
OTHERS_ABOVE = "others may write into a folder above it"


def folder_not_used(*, folder: str, reason: str) -> str:
    """Said when the folder for compiled code is not the user's alone, cannot be written, or has no room."""
    return (
        f"{shortened(folder)}: not used for compiled code ({shortened(reason)}); the model is compiled anew for this command, which"
        " takes a quarter of a minute. Make it a folder of yours alone with room in it, or remove it"
    )


def not_kept(*, folder: str, reason: str) -> str:
    """Said when compiled code cannot be written into its folder."""
    return (
        f"{shortened(folder)}: compiled code cannot be kept ({shortened(reason)}); the work goes on, and it is compiled anew next"
        " time. Make room there"
    )


def damaged(*, folder: str, reason: str) -> str:
    """Said when compiled code was damaged where it is kept."""
    return (
        f"{shortened(folder)}: compiled code there is damaged ({shortened(reason)}); it is compiled anew, which takes a"
        " quarter of a minute. Nothing needs to be done"
    )
