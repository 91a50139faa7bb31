"""Trowel passes: how many hands they need, and when each is done.

A task is one pass over one section: it may begin at its release, must be done by its deadline and takes some
finisher-hours. A team may split over sections, so meeting every deadline is a question of work and time only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.compiled import compiled
from jobs.physics.validity import FloatArray, in_range

SOON_H = 1e-9  # times closer than this are one instant


def finishers_needed(
    release_h: ArrayLike,
    deadline_h: ArrayLike,
    work_h: ArrayLike,
    *,
    laying_until_h: float = -np.inf,
    free_while_laying: float = 1.0,
) -> tuple[float, tuple[float, float]]:
    """The least number of finishers who can meet every deadline, as a fraction, and the interval that asks it.

    Parameters
    ----------
    release_h, deadline_h : when each task may begin and must be done [h], one shape
    work_h : work of each task [finisher-hours], the same shape or a scalar
    laying_until_h : until then only a share of the hands is free to trowel [h]
    free_while_laying : that share, more than 0 to 1

    Notes
    -----
    ``max over release a < deadline b of (work of tasks inside [a, b]) / (b - a)``: necessary and, for a team that
    may split and turn to the most urgent section at once, sufficient (earliest deadline first is optimal on one
    machine with interruption) [Horn1974]. While laying goes on, ``b - a`` counts only the hands that are free.

    Raises
    ------
    ValueError
        If a task has no time, shapes differ, or work is negative.
    """
    release, deadline, work = _tasks(release_h, deadline_h, work_h)
    in_range("share of hands free while laying", free_while_laying, 0, 1, "", low_open=True)
    count, begin, end = least_hands(release.ravel(), deadline.ravel(), work.ravel(), laying_until_h, free_while_laying)
    return float(count), (float(begin), float(end))


def pass_times_h(
    release_h: ArrayLike,
    deadline_h: ArrayLike,
    work_h: ArrayLike,
    finishers: float,
    *,
    laying_until_h: float = -np.inf,
    free_while_laying: float = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """When each task is done if the whole team always turns to the most urgent section.

    Earliest deadline first, with interruption; of equal deadlines the task that comes first in the array.

    Parameters
    ----------
    release_h, deadline_h, work_h, laying_until_h, free_while_laying : as :func:`finishers_needed`
    finishers : size of the team, more than 0

    Returns
    -------
    finish_h, slack_h : time at which each task is done, and deadline less that time [h]; shape of the tasks

    Raises
    ------
    ValueError
        As :func:`finishers_needed`; also if there are no finishers.
    """
    release, deadline, work = _tasks(release_h, deadline_h, work_h)
    in_range("finishers", finishers, 0, 500, "", low_open=True)
    in_range("share of hands free while laying", free_while_laying, 0, 1, "", low_open=True)
    done = most_urgent_first(
        release.ravel(), deadline.ravel(), work.ravel(), float(finishers), laying_until_h, free_while_laying
    ).reshape(release.shape)
    return done, deadline - done


def _tasks(release_h: ArrayLike, deadline_h: ArrayLike, work_h: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    release = in_range("release of a pass", release_h, -1e4, 1e4, "h")
    deadline = in_range("deadline of a pass", deadline_h, -1e4, 1e4, "h")
    if release.shape != deadline.shape or not release.size:
        raise ValueError(f"releases {release.shape} and deadlines {deadline.shape} must be of one shape.")
    work = np.broadcast_to(in_range("work of a pass", work_h, 0, 1e4, "finisher-hours"), release.shape)
    if np.any(deadline <= release):
        where = int(np.argmax((deadline <= release).ravel()))
        raise ValueError(
            f"a pass is due at {release.ravel()[where]:g} h and must be done by "
            f"{deadline.ravel()[where]:g} h; it needs time between the two."
        )
    return release, deadline, np.ascontiguousarray(work)


@compiled
def hands_time_h(begin: float, end: float, laying_until: float, share: float) -> float:
    """Hours of one finisher in an interval, less what laying takes from him."""
    laying = min(end, laying_until) - begin
    return end - begin - (1.0 - share) * max(laying, 0.0)


@compiled
def least_hands(
    release: FloatArray, deadline: FloatArray, work: FloatArray, laying_until: float, share: float
) -> tuple[float, float, float]:
    """See :func:`finishers_needed`; flat arrays. For each begin, deadlines are taken in ascending order."""
    order = np.argsort(deadline)
    most, at_begin, at_end = 0.0, release[0], deadline[0]
    for i in range(len(release)):
        begin = release[i]
        total = 0.0
        for place in range(len(order)):
            task = order[place]
            if release[task] < begin - SOON_H:
                continue
            total += work[task]
            end = deadline[task]
            if end <= begin:
                continue
            need = total / hands_time_h(begin, end, laying_until, share)
            if need > most:
                most, at_begin, at_end = need, begin, end
    return most, at_begin, at_end


@compiled
def most_urgent_first(
    release: FloatArray,
    deadline: FloatArray,
    work: FloatArray,
    finishers: float,
    laying_until: float,
    share: float,
) -> FloatArray:
    """See :func:`pass_times_h`; flat arrays."""
    count = len(release)
    left = work.copy()
    done = np.full(count, np.inf)
    open_tasks = count
    now = release.min()
    while open_tasks:
        task = -1
        coming = np.inf
        for i in range(count):
            if done[i] < np.inf:
                continue
            if release[i] > now + SOON_H:
                coming = min(coming, release[i])
            elif task < 0 or deadline[i] < deadline[task] - SOON_H:
                task = i
        if task < 0:
            now = coming
            continue
        hands = finishers
        if now < laying_until - SOON_H:
            hands = finishers * share
            coming = min(coming, laying_until)
        until = min(coming, now + left[task] / hands)
        left[task] -= (until - now) * hands
        now = until
        if left[task] <= SOON_H:
            done[task] = now
            open_tasks -= 1
    return done
