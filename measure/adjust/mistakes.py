"""Mistakes: data snooping one at a time at a family-wise level, with a robust start against masking.

w = v/(sd_v) for each row (Baarda 1968). Readings are set aside one by one, worst first, and re-tested against the rest;
where two or more were set aside, the search is repeated from a least-absolute-deviations fit, and the explanation
with fewer mistakes is kept. Nothing is removed without being listed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.critical import normal_critical, sigma0_limits, tau_critical
from measure.adjust.group_test import correlations, group_tests
from measure.adjust.held import bodies
from measure.adjust.network import NDArrayBool, Network
from measure.adjust.solver import Adjustment, NotConvergedError, at_state, solve, with_rows
from measure.adjust.variance import components, robust_scatter, rows_of
from measure.readings.unknowns import Array, State

CHECKED = 0.01
"""Redundancy from which a row is tested at all; under 0.1 it is listed as unchecked."""
SAME_TEST = 0.9
"""Correlation of two tests from which nobody can tell which reading is wrong."""
SCATTERED = 1.2
"""Robust scatter of w from which the sheet is rough rather than mistaken."""
FEWEST_FREEDOMS = 3
"""Under this many redundancies nothing is set aside automatically."""
SHREDDED = 0.1
"""Share of the readings of one kind that may be mistakes (four may always); beyond it their stated sd is wrong."""
GROSS = 60.0
"""mm; a reading farther than this from starting values of a few mm would drag the first solution away."""


@dataclass(frozen=True)
class Suspect:
    """A reading (its rows) that does not fit the rest, or a tape whose readings share an offset.

    w: standardised, against the rest; size: reading minus what it should be, mm; sd: of size.
    """

    rows: tuple[int, ...]
    w: float
    size: float
    sd: float
    set_aside: bool
    cannot_tell_from: tuple[int, ...] = ()  # rows of the other readings
    tape: str | None = None


@dataclass(frozen=True)
class Search:
    """The adjustment without the suspects, the suspects, and a tape that wants an offset of its own."""

    adjustment: Adjustment
    suspects: tuple[Suspect, ...]
    offset_tape: Suspect | None = None


def standardised(adjustment: Adjustment) -> Array:
    """Each row's w (m,): residual over its own a priori sd; 0 where nothing checks the row."""
    r = adjustment.redundancy
    checked = (r > CHECKED) & adjustment.network.tested
    safe = np.where(checked, r, 1.0)
    return np.where(checked, adjustment.misclosure / np.sqrt(safe), 0.0)


def against_the_rest(adjustment: Adjustment) -> tuple[Array, Array]:
    """For rows not active: (misfit against the rest over its sd, that sd in mm), both (m,)."""
    sd = np.sqrt(np.maximum(adjustment.sd, 1e-12) ** 2 + np.maximum(adjustment.adjusted_variance, 0.0))
    return adjustment.residual / sd, sd


def tests(adjustment: Adjustment) -> Array:
    """Each reading's test as |w| (m,), on its worst row; see `measure.adjust.group_test`."""
    return group_tests(adjustment, np.where(adjustment.active, standardised(adjustment), 0.0), CHECKED)


def find(adjustment: Adjustment) -> Search:
    """Search a solved network for mistakes. Deterministic; leaves the stated sd as they are.

    Rows that are not active were too far off to start with; they are suspects, or taken back.
    Mistakes explain a sheet when the rest then scatters as stated; otherwise it is taken as rough, and only what stands
    out of its own scatter is suspected.
    """
    w = tests(adjustment)
    critical = normal_critical(int(np.sum(w != 0)))
    tape = _offset(adjustment, critical)
    if tape is not None and abs(tape.w) > np.max(w, initial=0.0):
        return Search(adjustment, (), tape)
    if np.max(w, initial=0.0) <= critical and adjustment.active.all():
        return Search(adjustment, ())
    found = _search(adjustment, critical)
    good = _in_order(found.adjustment, critical) and not _shredded(found.adjustment)
    return found if good else _find_in_rough(adjustment, standardised(adjustment), found)


def _shredded(adjustment: Adjustment) -> bool:
    """Whether so many readings of one kind were set aside that the kind is rough rather than mistaken."""
    for component in components(adjustment.network):
        rows = rows_of(adjustment.network, component)
        every = len(set(adjustment.network.group[rows].tolist()))
        out = len(set(adjustment.network.group[rows & ~adjustment.active].tolist()))
        if out > max(4, every * SHREDDED):
            return True
    return False


def _in_order(adjustment: Adjustment, critical: float) -> bool:
    """Whether what is left fits as stated: no test fails, and the scatter as a whole is what chance allows."""
    freedom = adjustment.degrees_of_freedom
    scatter = np.sqrt(adjustment.sum_of_squares / freedom) if freedom > 0 else 0.0
    fits = (
        scatter <= sigma0_limits(freedom)[1]
        or max(robust_scatter(adjustment, standardised(adjustment)).values(), default=np.inf) < SCATTERED
    )
    return bool(fits and np.max(tests(adjustment), initial=0.0) <= critical)


def _find_in_rough(adjustment: Adjustment, w: Array, as_stated: Search) -> Search:
    """A sheet that scatters more than stated: tau critical values over the scatter it shows."""
    sd = adjustment.sd.copy()
    freedom = 0.0
    for component, scatter in robust_scatter(adjustment, w).items():
        rows = rows_of(adjustment.network, component)
        sd[rows] *= max(scatter, 1.0)
        freedom += float(adjustment.redundancy[rows].sum())
    if freedom == 0.0:
        return as_stated
    widened = solve(adjustment.network, adjustment.state, sd, adjustment.active)
    count = int(np.sum(tests(widened) != 0))
    critical = tau_critical(count, freedom)
    tape = _offset(widened, critical)
    if tape is not None and abs(tape.w) > np.max(tests(widened)):
        return Search(adjustment, (), tape)
    found = _search(widened, critical)
    kept = solve(adjustment.network, found.adjustment.state, adjustment.sd, found.adjustment.active)
    return replace(found, adjustment=kept)


def without_gross(network: Network, start: State) -> Adjustment | None:
    """The network solved without the readings that the robust starting values contradict by far.

    None where there are none, or too many, or where the rest would not hold what all hold together.
    """
    misfit = np.where(network.tested, np.abs(network.observed - network.computed(start)), 0.0)
    far = np.isin(network.group, network.group[misfit > GROSS])
    if not far.any() or len(set(network.group[far].tolist())) > _most(network):
        return None
    try:
        whole = solve(network, start, np.where(far, 1e4, network.sd))
        rest = solve(network, whole.state, active=~far)
    except NotConvergedError:
        return None
    held = rest.factor.defect == whole.factor.defect and rest.degrees_of_freedom >= FEWEST_FREEDOMS
    return rest if held else None


def _most(network: Network) -> int:
    """How many readings may be set aside at all."""
    return max(2, int(np.sum(network.tested)) // 8)


def _search(adjustment: Adjustment, critical: float) -> Search:
    limit = _most(adjustment.network)
    snooped, ties = _snoop(adjustment, critical, limit)
    if int(np.sum(~snooped.active)) > 1:
        robust = _from_robust(adjustment, critical, limit)
        if robust is not None:
            robust, more = _snoop(robust, critical, limit)
            if _better(robust, snooped, critical):
                snooped, ties = robust, more
    return Search(snooped, _listed(adjustment, snooped, ties, critical))


def _groups_out(adjustment: Adjustment) -> set[int]:
    return set(adjustment.network.group[~adjustment.active].tolist())


def _better(a: Adjustment, b: Adjustment, critical: float) -> bool:
    """Fewer readings set aside with the rest in order; on a tie the smaller misfit."""
    in_order = [np.max(tests(x), initial=0.0) <= critical for x in (a, b)]
    if in_order[0] != in_order[1]:
        return bool(in_order[0])
    key_a = (len(_groups_out(a)), round(a.sum_of_squares, 9))
    return key_a < (len(_groups_out(b)), round(b.sum_of_squares, 9))


def _snoop(adjustment: Adjustment, critical: float, limit: int) -> tuple[Adjustment, dict[int, tuple[int, ...]]]:
    """Set aside the worst row's reading while any |w| is over the critical value; re-admit what fits after all."""
    group = adjustment.network.group
    adjustment, ties = _tied_from_the_start(adjustment, limit)
    for _ in range(3 * limit):
        w = tests(adjustment)
        worst = int(np.argmax(w))
        if w[worst] <= critical:
            readmitted = _readmit(adjustment, critical, ties)
            if readmitted is None:
                break
            adjustment = readmitted
            continue
        twins = _same_test(adjustment, worst)
        out = {int(group[worst])} | {int(group[t]) for t in twins}
        if len(_groups_out(adjustment) | out) > limit or adjustment.degrees_of_freedom < FEWEST_FREEDOMS + 1:
            ties[worst] = twins
            break
        active = adjustment.active & ~np.isin(group, list(out))
        if not _may_go(adjustment, active, tied=len(out) > 1):
            ties[worst] = twins
            break
        if twins:
            ties[worst] = twins
        adjustment = with_rows(adjustment, active)
    return adjustment, ties


def _tied_from_the_start(adjustment: Adjustment, limit: int) -> tuple[Adjustment, dict[int, tuple[int, ...]]]:
    """Set aside as well what cannot be told from the readings that are out already, as `_snoop` would have."""
    ties: dict[int, tuple[int, ...]] = {}
    group = adjustment.network.group
    misfit = np.abs(against_the_rest(adjustment)[0])
    given = ~adjustment.active
    before = np.ones(len(group), dtype=bool)
    for row in sorted(np.flatnonzero(given).tolist(), key=lambda i: (-misfit[i], i)):
        if not before[row]:
            continue  # its reading was dealt with by a worse row
        twins = tuple(t for t in _same_test(at_state(adjustment, before), row) if not given[t])
        out = np.isin(group, [group[row], *(group[t] for t in twins)])
        before &= ~out
        active = adjustment.active & ~out
        if not twins or len(set(group[~active].tolist())) > limit or not _may_go(adjustment, active, tied=True):
            continue
        ties[row] = twins
        adjustment = with_rows(adjustment, active)
    return adjustment, ties


def _may_go(adjustment: Adjustment, active: NDArrayBool, *, tied: bool) -> bool:
    """A single reading never loosens anything (it was checked); tied ones may loosen one point, no more."""
    if not tied:
        return True
    try:
        after = with_rows(adjustment, active)
    except NotConvergedError:
        return False
    loosened = after.factor.defect - adjustment.factor.defect
    if loosened > 2 or int(np.sum(~active)) >= len(active) // 3:
        return False
    # the last two lengths of photographs, which disagree, are one direction, and hold every point
    return not loosened or len(bodies(after)[0]) >= len(bodies(adjustment)[0]) - 1


def _same_test(adjustment: Adjustment, row: int) -> tuple[int, ...]:
    """Rows of other readings whose test is correlated with this one's above SAME_TEST."""
    r = adjustment.redundancy
    correlation = correlations(adjustment, row, CHECKED)
    group = adjustment.network.group
    same = (correlation > SAME_TEST) & adjustment.active & (r > CHECKED) & adjustment.network.tested
    same &= group != group[row]
    return tuple(int(i) for i in np.flatnonzero(same))


def _readmit(adjustment: Adjustment, critical: float, ties: dict[int, tuple[int, ...]]) -> Adjustment | None:
    """Take back the reading that fits the rest best, if it fits; readings that nobody can tell apart all or none."""
    group = adjustment.network.group
    out = _groups_out(adjustment)
    tied: set[int] = set()
    for row, twins in ties.items():
        together = {int(group[row]), *(int(group[t]) for t in twins)}
        tied |= together
        if together <= out:
            try:
                trial = with_rows(adjustment, adjustment.active | np.isin(group, list(together)))
            except NotConvergedError:
                continue
            if np.max(tests(trial), initial=0.0) <= critical:
                return trial
    t = np.where(adjustment.active, 0.0, against_the_rest(adjustment)[0])
    t = group_tests(adjustment, t, CHECKED)
    worst = {number: float(np.max(t[group == number])) for number in sorted(out - tied)}
    best = min(worst, key=lambda g: (worst[g], g), default=None)
    if best is None or worst[best] > critical:
        return None
    return with_rows(adjustment, adjustment.active | (group == best))


def _from_robust(adjustment: Adjustment, critical: float, limit: int) -> Adjustment | None:
    """Start without all readings far from a least-absolute-deviations fit (iteratively reweighted)."""
    network, stated = adjustment.network, adjustment.sd
    fit = adjustment
    try:
        for _ in range(12):
            spread = np.sqrt(np.maximum(np.abs(fit.residual) / np.where(stated > 0, stated, 1.0), 0.3))
            fit = solve(network, fit.state, np.where(network.tested, stated * spread, stated), adjustment.active)
        far = np.abs(fit.residual) / np.where(stated > 0, stated, np.inf)
        far = np.where(network.tested & adjustment.active, far, 0.0)
        far = np.sqrt(np.bincount(network.group, far**2))[network.group]  # all rows of a reading together
        order = np.argsort(-far, kind="stable")
        groups: list[int] = []
        for row in order[far[order] > 3.0]:
            number = int(network.group[row])
            if number not in groups and len(groups) < limit:
                groups.append(number)
        while groups:
            clean = solve(network, fit.state, stated, adjustment.active & ~np.isin(network.group, groups))
            if clean.factor.defect == adjustment.factor.defect:
                return clean
            groups.pop()
    except NotConvergedError:
        return None
    return None


def _listed(
    before: Adjustment, after: Adjustment, ties: dict[int, tuple[int, ...]], critical: float
) -> tuple[Suspect, ...]:
    """The suspects, worst first: those set aside, and those that would have been but for the stop rule."""
    t, sd = against_the_rest(after)
    group = after.network.group
    found = []
    for number in sorted(_groups_out(after)):
        rows = np.flatnonzero(group == number)
        worst = rows[int(np.argmax(np.abs(t[rows])))]
        tied = next((twins for row, twins in ties.items() if group[row] == number), ())
        if not tied:
            tied = tuple(
                row for row, twins in ties.items() if any(group[i] == number for i in twins)
            ) + tuple(i for twins in ties.values() if any(group[j] == number for j in twins) for i in twins
                      if group[i] != number)  # fmt: skip
        rows_first = (int(worst), *(int(i) for i in rows if i != worst))
        alone = _with_its_twins(after, number, tied)
        t_alone, sd_alone = (t, sd) if alone is after else against_the_rest(alone)
        found.append(Suspect(
            rows_first, float(t_alone[worst]), float(alone.residual[worst]), float(sd_alone[worst]), True, tied
        ))  # fmt: skip
    w, told = standardised(after), tests(after)
    r = after.redundancy
    for row, twins in ties.items():
        if after.active[row] and told[row] > critical:
            rows_first = (row, *(int(i) for i in np.flatnonzero(group == group[row]) if i != row))
            size = float(after.residual[row] / r[row])
            spread = float(after.sd[row] / np.sqrt(r[row]))
            found.append(Suspect(rows_first, float(w[row]), size, spread, False, twins))
    return tuple(sorted(found, key=lambda s: (-abs(s.w), s.rows)))


def _with_its_twins(after: Adjustment, number: int, tied: tuple[int, ...]) -> Adjustment:
    """The rest as it would be if this reading alone were wrong: those it cannot be told from taken back.

    Without them nothing may be left to compare it with.
    """
    if not tied:
        return after
    group = after.network.group
    others = np.isin(group, group[list(tied)]) & (group != number)
    try:
        return with_rows(after, after.active | others)
    except NotConvergedError:
        return after


def _offset(adjustment: Adjustment, critical: float) -> Suspect | None:
    """The tape whose readings share an offset most clearly: a further unknown tested as one more blunder.

    With h the whitened pattern of ones: offset = h'v / h'(I - A Q A')h, sd the inverse root of the latter.
    """
    network = adjustment.network
    taped = [row.reading.via if row.reading.kind in ("floor", "car") else None for row in network.rows]
    best = None
    if adjustment.degrees_of_freedom <= FEWEST_FREEDOMS:
        return None
    for tape in network.unknowns.tapes:
        mine = np.array([via == tape for via in taped], dtype=bool) & adjustment.active
        if mine.sum() < 6:
            continue
        h = np.where(mine, 1.0 / np.where(adjustment.sd > 0, adjustment.sd, np.inf), 0.0)
        lever = np.asarray(adjustment.A.T @ h).ravel()
        information = float(h @ h - lever @ adjustment.Q @ lever)
        if information < 1e-6:
            continue  # solved for already, or nothing tells it from the scale
        offset = float(h @ adjustment.misclosure) / information
        w = offset * np.sqrt(information)
        if abs(w) > critical and (best is None or abs(w) > abs(best.w)):
            rows = tuple(int(i) for i in np.flatnonzero(mine))
            best = Suspect(rows, float(w), offset, float(1 / np.sqrt(information)), True, (), tape)
    return best
