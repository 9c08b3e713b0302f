"""Fewer rows of a trace, same shape: what is drawn is chosen from the rows, never smoothed. Loads no drawing library."""

from collections.abc import Mapping, Sequence

import numpy as np

from sim.trips.result import Result

MOST_POINTS = 2000  # of a line


def thinned_rows(values: np.ndarray, always: np.ndarray, most: int = MOST_POINTS) -> np.ndarray:
    """Rows that keep the shape of a line: the lowest and highest of each stretch, the ends, and rows asked for.

    Parameters
    ----------
    values : array
        What is drawn, shape (rows,).
    always : array
        Rows to keep, rising; of more than half of `most` only evenly picked ones are kept.
    most : int
        Points wanted at most.

    Returns
    -------
    rows : array
        Rising, each once.

    Examples
    --------
    >>> thinned_rows(np.array([0.0, 9.0, 1.0, 1.0, 1.0, -5.0, 1.0, 1.0]), np.array([3]), 8).tolist()
    [0, 1, 2, 3, 4, 5, 6, 7]
    """
    total = len(values)
    if total <= most:
        return np.arange(total)
    if len(always) > most // 2:
        always = always[np.unique(np.linspace(0, len(always) - 1, most // 2).astype(int))]
    stretches = max((most - len(always) - 2) // 2, 1)
    length = -(-total // stretches)
    first = length * np.arange(-(-total // length))
    padded = np.full(len(first) * length, np.nan)
    padded[:total] = values
    table = padded.reshape(len(first), length)
    kept = [np.array([0, total - 1]), np.asarray(always, dtype=int)]
    lows, highs = np.where(np.isfinite(table), table, np.inf), np.where(np.isfinite(table), table, -np.inf)
    kept += [first + lows.argmin(axis=1), first + highs.argmax(axis=1)]
    return np.unique(np.concatenate(kept))


def event_rows(result: Result) -> np.ndarray:
    """Rows of the trace at which something happened.

    Returns
    -------
    rows : array
        Rising, each once.
    """
    times = np.array([event["time_s"] for event in result.events])
    rows = np.searchsorted(result.trace["time_s"], times - 1e-6)
    return np.unique(rows[rows < len(result.trace["time_s"])])


def common_rows(
    trace: Mapping[str, np.ndarray], lines: Sequence[str], steps: Sequence[str], always: np.ndarray, most: int
) -> np.ndarray:
    """Rows that keep the shape of many columns at once, so that all of them share one index.

    Parameters
    ----------
    trace : mapping
        Columns by name, each of shape (rows,).
    lines : sequence of str
        Columns whose lowest and highest values are kept, stretch by stretch.
    steps : sequence of str
        Columns that jump: both rows of each jump are kept as long as there is room.
    always : array
        Rows to keep, such as those of events.
    most : int
        Rows wanted; a trace that has no more is kept whole. Each line gets a quarter of it for its own extremes, many of which
        fall together; lines that have nothing in common make it more.

    Returns
    -------
    rows : array
        Rising, each once.

    Examples
    --------
    >>> trace = {"a": np.arange(100.0), "gear": np.repeat([1.0, 2.0], 50)}
    >>> common_rows(trace, ["a"], ["gear"], np.array([7]), 10).tolist()
    [0, 7, 49, 50, 99]
    """
    total = len(trace[lines[0]])
    if total <= most:
        return np.arange(total)
    jumps = [np.flatnonzero(np.diff(trace[name])) for name in steps]
    kept = np.unique(np.concatenate([always, *jumps, *(rows + 1 for rows in jumps), [0, total - 1]])).astype(int)
    if len(kept) > most // 2:
        kept = kept[np.unique(np.linspace(0, len(kept) - 1, most // 2).astype(int))]
    none = np.array([], dtype=int)
    share = max(most // 4, 4)
    chosen = [thinned_rows(trace[name], none, share) for name in lines]
    return np.unique(np.concatenate([kept, *chosen]))
