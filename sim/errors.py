"""The errors a user can meet. Each message says where, what was given, what is allowed and what to do."""


class HaulbenchError(Exception):
    """Base of every error that is the input's fault and not the program's."""


class SpecError(HaulbenchError):
    """A truck file or one of its values cannot be used."""


class RouteError(HaulbenchError):
    """A road file or a road named on the command line cannot be used."""


class SettingsError(HaulbenchError):
    """A settings file, one of its values or a flag cannot be used."""


class RunError(HaulbenchError):
    """A trip could not be carried out or its results could not be written."""


class StudyError(HaulbenchError):
    """A study over many trips could not be carried out."""
