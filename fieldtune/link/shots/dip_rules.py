"""What a dip of the wheel's speed was: a shot's, perhaps a shot's, or none.

A shot's wheel falls at once, as deep as at other shots, and comes back. A lowered one stays; a hunting one is slow.
Once it is known what shots are usually like, a dip of that course and depth is one even where other courses fit as
well (to 4). One that merely comes back, as a lowered heavy wheel may, is a shot only if that course accounts for half
of what stands out.

A wheel that runs out is above its setpoint and can't be lowered: a plain fall within a few lines is a shot there. One
that runs out below it, within 3 s of another setpoint, isn't driven yet. A drive that takes over slows it first, so
its dips are asked about.

Numbers without a unit are twice a log likelihood ratio, as in ``drop_fit.Verdict``.
"""

from __future__ import annotations

from enum import Enum, auto
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.link.shots.usual_shots import LEAST, MOST

if TYPE_CHECKING:
    from fieldtune.link.shots.drop_fit import Verdict
    from fieldtune.link.shots.lost_counts import LostCounts
    from fieldtune.link.shots.usual_shots import UsualShots

_RETURNS, _STAYS = 6.0, -2.0  # over a lowered wheel: it comes back; being lowered fits better
_SUDDEN, _AS_WELL = 15.0, 4.0  # over a slow change: a sudden fall; by less than this two courses fit equally well
_COMES, _LOWERED_AS_WELL = -15.0, 0.5  # over a lowered wheel: it may still come back; that fits no better
_BACK = 0.6  # of a drop made good: the wheel comes back
_RAISED = 1.7  # likewise: somebody raised it, and what stands out is the rise
_COMING_BACK, _BACK_BY_SHARE, _RISING = 0.5, 4.0, 0.1  # the last: of a drop, in a second
_USUALLY_BACK_S = 0.5
_PERHAPS, _PERHAPS_OUT, _PERHAPS_SUDDEN = 0.6, 14.0, 3.0
_LONG_S = 0.28
_LIKE_AGAINST, _LIKE_FAINT = -4.0, 0.0  # of the usual course, against others
_LOUD, _RATHER_SUDDEN = 100.0, 4.0  # no need to run evenly before, where no setpoint was lowered
_RUN_OUT, _RUN_OUT_SLOW, _RUN_OUT_LOWERED = 50.0, -12.0, -6.0  # of a drop while it runs out; against others
_OF_SHALLOW = 0.75  # of what stands out, at most, may one too shallow account for
_LIKE, _SOMEWHAT_LIKE = 0.5, 0.3  # of what stands out, that the usual course accounts for
_RATHER_SLOW = -0.25  # likewise, by which a slow change fits better than the usual course
_SHOWS_BACK, _BACK_BY_COURSE, _SURELY = 0.15, 2.0, 60.0  # of a drop made good; by its course; however little came back
_SURE, _RATHER_SURE, _HARDLY = 0.97, 0.9, 0.6  # chance that it is no lost count, where some are known of, or not; none
_SURE_ODDS, _LOWERED_ODDS = 2.5, 6.0  # of the network, borne out by what else is seen; where lowered fits better
ALONE_ODDS, _HELD_ODDS = 4.0, 3.5  # by itself; of a dip that shows at one setpoint
_FAINT_ODDS = 4.5  # of one that is little more than what rounding makes
_PLAINLY_LOWERED = -20.0  # twice a log likelihood ratio, by which lowered fits better, then it can't be
_AT_LEAST_SUDDEN = -12.0  # likewise, of one whose depth hardly shows
_SHOWS, _SLOWLY = 8.0, -3.0  # twice log likelihood ratios that have to bear the network out


class Answer(Enum):
    """What a dip was; or it may still show itself by what comes."""

    SHOT = auto()
    PERHAPS = auto()  # a person is asked
    NONE = auto()
    NOT_YET = auto()  # a later look decides


@frozen
class Dip:
    """What is seen of a dip: speeds in turns/s, seconds.

    ``seen``: as a shot of a depth that this wheel's shots have, ``shallow``: as one of less, ``freely``: as one of any;
    ``deep``: deeper than expected, as false counts of damaged lines are; ``usual``: as one of their usual course, None
    where that isn't known. ``missing``, ``rising``: what is still missing of the ``speed`` before it when last seen
    ``behind_s`` later, and what is regained in a second by then. ``even``: before it the wheel ran evenly; ``faint``:
    it is little more than what rounding makes; ``held``: all the time at one setpoint, as the robot said; ``coasts``:
    it runs out; ``undriven``: so it did before, though below its setpoint, which was another one lately: a drive that
    takes over slows it first. ``battery_fall_v``: by how much the battery fell at it, None where unknown; ``eases``: it
    rose instead, as when a drive is turned down. ``network``: log odds, where the network found it. ``over_lost``: how
    much more like a shot it is than like some counts that got lost. ``one_step``: own rpm only goes between two of
    its steps; ``sparse``: many lines are missing. ``cut_short``: by the next one; ``last``: no later look at
    it will come.
    """

    at_s: float
    speed: float
    seen: Verdict
    shallow: Verdict
    freely: Verdict
    deep: bool
    usual: Verdict | None
    missing: float
    rising: float
    behind_s: float
    even: bool
    faint: bool
    held: bool
    coasts: bool
    undriven: bool
    battery_fall_v: float | None
    eases: bool
    network: float | None
    over_lost: float
    one_step: bool
    sparse: bool
    cut_short: bool
    last: bool

    @property
    def back(self) -> float:
        """How much of the drop was made good, as a share of it."""
        return 1 - self.missing / max(self.seen.depth, 1e-9)


def answer(dip: Dip, shots: UsualShots, lost: LostCounts, noise_known: bool, noisy: bool) -> Answer:
    """What it was. ``shots``: those before; ``lost``: counts, likewise; ``noise_known``: whether quiet was seen;
    ``noisy``: lines are damaged."""
    what = _of_true_counts(dip, shots, noise_known, noisy)
    if what is Answer.PERHAPS and dip.network is not None and not lost.known and _as_expected(dip, shots):
        what = Answer.SHOT if dip.held or dip.seen.over_lowered > _RETURNS else what  # two that doubt alike
    if what is Answer.SHOT and noisy and dip.deep:
        what = Answer.PERHAPS  # at a later look others may fit as well
    unclear = dip.sparse and not dip.held and dip.back < _BACK  # a wheel that was lowered looks so, too
    late = noisy and dip.last and not dip.held  # a false count shows so, too
    if what is Answer.SHOT and (dip.one_step or unclear or late):
        what = Answer.PERHAPS if dip.last else Answer.NOT_YET
    if what not in (Answer.SHOT, Answer.PERHAPS):
        return what
    chance = lost.chance_of_shot(dip.over_lost)
    doubtful = chance < (_SURE if lost.known else _RATHER_SURE)
    if what is Answer.SHOT and doubtful and not dip.last:
        return Answer.NOT_YET
    lost.learn(dip.over_lost)
    if lost.known and chance < _HARDLY:
        return Answer.NONE
    return Answer.PERHAPS if doubtful or dip.undriven else what


def _of_true_counts(dip: Dip, shots: UsualShots, noise_known: bool, noisy: bool) -> Answer:
    """What it was if no count got lost."""
    seen, usual = dip.seen, dip.usual
    sags = dip.battery_fall_v is not None and shots.sags(dip.battery_fall_v)
    slowly = seen.over_slow < _SUDDEN and (usual is None or usual.over_slow < _RATHER_SUDDEN)
    if sags and (slowly or seen.over_lowered < _STAYS or dip.network is not None):
        return Answer.NONE if dip.last else Answer.NOT_YET
    if dip.eases and not dip.held:
        return Answer.NONE if dip.last else Answer.NOT_YET
    if dip.network is not None and noise_known and _by_network(dip, dip.network, shots):
        return Answer.SHOT
    against = _LIKE_FAINT if dip.faint else _LIKE_AGAINST
    settled = (dip.last or dip.behind_s > _LONG_S) and not _perhaps_lowered(dip)
    if usual is not None and settled and shots.fits_usual(usual, against, noisy or dip.faint):
        return Answer.SHOT
    if noise_known and _falls_running_out(dip):
        return Answer.SHOT
    sudden = seen.over_slow > _SUDDEN
    loud = dip.held and seen.over_nothing > _LOUD and seen.over_slow > _RATHER_SUDDEN
    if dip.faint or not (sudden or loud or dip.even):
        return Answer.NONE if dip.last else Answer.NOT_YET
    clear = noise_known and shots.shows(seen.over_nothing, seen.over_slow, noisy)
    # A look that can't tell it from a shallow one waits for the next.
    slack = _AS_WELL if dip.last and shots.learned else -_AS_WELL
    clear = clear and dip.shallow.over_nothing < seen.over_nothing + slack and (dip.back < _RAISED or dip.held)
    runs_out = sudden and seen.over_lowered > _STAYS and dip.coasts
    plain = dip.held or (dip.back >= _BACK and seen.over_lowered > _RETURNS) or runs_out
    plain = plain and (sudden or usual is None or not _unlike(dip, usual))
    doubtful = not shots.beyond_doubt(seen.over_nothing, noisy)
    if clear and plain and not doubtful:
        return Answer.SHOT
    if not dip.last:
        return Answer.NOT_YET
    # Of another depth than a shot's it may only be asked about.
    coming = _coming(dip, seen if clear else dip.freely)
    if clear and (
        plain or (_comes(dip, coming) and (usual is None or shots.partly_usual(usual, _LIKE * seen.over_nothing)))
    ):
        doubtful = doubtful or not (plain or shots.learned or seen.over_lowered > _LOWERED_AS_WELL)
        if not doubtful or shots.came_before(dip.at_s, seen.missed / dip.speed):
            return Answer.SHOT
    best = seen if clear else dip.freely
    perhaps = coming >= _PERHAPS and best.over_nothing > _PERHAPS_OUT and best.over_slow > _PERHAPS_SUDDEN
    return Answer.PERHAPS if perhaps and LEAST <= best.depth / dip.speed <= MOST else Answer.NONE


def _by_network(dip: Dip, odds: float, shots: UsualShots) -> bool:
    """Whether the network is sure enough, of a dip that may be a shot at all.

    A drive that takes over a wheel that coasts down to another setpoint may brake it first: that is no sudden fall, or
    lowered fits far better.
    """
    if dip.seen.over_lowered < _PLAINLY_LOWERED or (dip.coasts and dip.seen.over_slow < _RUN_OUT_SLOW):
        return False
    needed = max(_odds_needed(dip), 0.0 if _depth_shows(dip, shots) else ALONE_ODDS)
    return odds > needed and _as_expected(dip, shots)


def _odds_needed(dip: Dip) -> float:
    """Less where it is borne out by what else is seen than by itself; more where lowered fits, or rounding does it."""
    returns = dip.held or dip.seen.over_lowered > _RETURNS
    if not returns and dip.seen.over_lowered < _STAYS:
        return _LOWERED_ODDS
    if dip.faint:
        return _HELD_ODDS if dip.held else _FAINT_ODDS
    if dip.freely.over_nothing <= _SHOWS:
        return ALONE_ODDS
    if returns and dip.freely.over_slow > _SLOWLY and (dip.held or dip.back < _RAISED):
        return _SURE_ODDS
    return _HELD_ODDS if dip.held else ALONE_ODDS


def _as_expected(dip: Dip, shots: UsualShots) -> bool:
    """Whether as deep as the profile lets expect; or a shot of such a depth fits as well, as of few counts a turn."""
    as_well = dip.seen.over_nothing > dip.freely.over_nothing - _AS_WELL and dip.seen.over_slow > _AT_LEAST_SUDDEN
    return as_well or _depth_shows(dip, shots)


def _depth_shows(dip: Dip, shots: UsualShots) -> bool:
    """Whether it is that deep by itself, within a profile's usual errors."""
    low, high = shots.expected_shares
    return low < dip.freely.depth / dip.speed < high


def _perhaps_lowered(dip: Dip) -> bool:
    """Whether little more than its beginning says that a wheel was not lowered untold."""
    usual = dip.usual
    weak = usual is None or (usual.over_lowered < _BACK_BY_COURSE and usual.over_nothing < _SURELY)
    return weak and not dip.held and dip.back < _SHOWS_BACK


def _unlike(dip: Dip, usual: Verdict) -> bool:
    """Whether what stands out is hardly of the usual course."""
    stands_out = dip.seen.over_nothing
    rather_slow = not dip.coasts and usual.over_slow < _RATHER_SLOW * stands_out
    return rather_slow or usual.over_nothing < _SOMEWHAT_LIKE * stands_out


def _falls_running_out(dip: Dip) -> bool:
    """Whether a wheel that runs out falls plainly within a few lines, and goes on running out.

    It is above its setpoint, so no lowered one slows it, and a brake would go on: it need not look sudden.
    """
    seen = dip.seen
    plainly = seen.over_nothing > _RUN_OUT and dip.shallow.over_nothing < _OF_SHALLOW * seen.over_nothing
    as_well = seen.over_slow > _RUN_OUT_SLOW and seen.over_lowered > _RUN_OUT_LOWERED
    course = dip.usual is None or dip.usual.over_nothing > _LIKE * seen.over_nothing
    surely_above = dip.held or (dip.last and dip.even and course)
    return dip.coasts and surely_above and not dip.faint and plainly and as_well


def _coming(dip: Dip, as_shot: Verdict) -> float:
    """How far a wheel comes back, of what it takes to say that it does.

    A heavy wheel falls little and comes back slowly; one that falls deep is light, and is back soon.
    """
    depth = max(as_shot.depth, 1e-9)
    back, rising = 1 - dip.missing / depth, dip.rising / depth
    if dip.cut_short:  # as it would have gone on
        back += rising * max(_USUALLY_BACK_S - dip.behind_s, 0.0)
    enough = max(min(_COMING_BACK, _BACK_BY_SHARE * depth / dip.speed), 1e-9)
    return back / enough if rising > _RISING or back >= _BACK else 0.0


def _comes(dip: Dip, coming: float) -> bool:
    """Whether a wheel that is not yet back is coming back.

    Of a dip that the next one cuts short, only that it was sudden can be told; nobody lowers a wheel twice so soon.
    """
    returns = dip.seen.over_lowered
    if coming >= 1.0:
        return dip.cut_short or returns > _COMES
    return dip.cut_short and returns > _RETURNS and dip.rising > _RISING * dip.seen.depth
