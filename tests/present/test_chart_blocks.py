"""The blocks of the Steps row: between PVIs where they are seen, grade runs elsewhere."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest

from profiler.present.chart_blocks import Block, blocks_of, outline, unsure
from profiler.present.chart_frame import Frame, frame_of
from profiler.profile import Profile
from tests.invented import GRADES, PVI_M, invented_landmarks, invented_profile, seen_profile

LIMITS = (0.001, 0.005, 0.01, 0.02)


def frame(profile: Profile, scale: float = 0.05) -> Frame:
    return frame_of(profile, invented_landmarks(), LIMITS, scale)


def test_without_pvis_blocks_are_grade_runs():
    """Law: what cannot show PVIs is read in runs, with upright edges."""
    blocks = blocks_of(frame(invented_profile()))
    assert tuple(b.run for b in blocks) == invented_landmarks().grade_runs
    assert {b.end_curve for b in blocks} == {0.0}


def test_blocks_lie_between_pvis():
    """Worked: nine tangents; 1.25 % at 0.1 % per 100 ft is a curve of 381 m, 19 pt at 0.05 pt a metre."""
    drawn = frame(seen_profile())
    blocks = blocks_of(drawn)
    np.testing.assert_allclose([b.run.start for b in blocks], PVI_M[:-1])
    np.testing.assert_allclose([b.run.grade for b in blocks], GRADES)
    assert blocks[1].end_curve == pytest.approx(381.0)
    assert [b.end_sure for b in blocks] == [True, True, False, True, True, True, True, False, True]
    assert [i for i, b in enumerate(blocks) if unsure(b, drawn)] == [2]
    assert blocks[2].end_curve == 0.0


def test_short_curves_are_upright():
    """Worked: at 0.0112 pt a metre 381 m are 4.3 pt and slope, 183 m (0.6 %) are 2.0 pt and do not."""
    blocks = blocks_of(frame(seen_profile(), scale=0.0112))
    assert blocks[0].end_curve == 0.0
    assert blocks[1].end_curve > 0


def test_outline_over_a_crest_by_hand():
    """Worked: +0.85 % to −0.40 % over 381 m at 12,000 m: slopes from 11,809.5 m, nought after 381·0.85/1.25 =
    259.1 m at 12,068.6 m, whole fall from 12,190.5 m; from +0.25 % to +0.85 % they meet at 0.55 % at 6,000 m."""
    blocks = blocks_of(frame(seen_profile()))
    x, grade = outline(blocks, 1)
    np.testing.assert_allclose(x, [6000, 6091.44, 11_809.5, 12_068.58], atol=0.01)
    np.testing.assert_allclose(grade, [0.0055, 0.0085, 0.0085, 0.0], atol=1e-12)
    x, grade = outline(blocks, 2)
    np.testing.assert_allclose(x[:2], [12_068.58, 12_190.5], atol=0.01)
    np.testing.assert_allclose(grade, [0.0, -0.004, -0.004], atol=1e-12)


def test_outlines_leave_no_gap():
    """Law: where one block ends the next begins, and every block keeps its own grade inside."""
    blocks = blocks_of(frame(seen_profile()))
    shapes = [outline(blocks, i) for i in range(len(blocks))]
    for (x, grade), (following, next_grade), block in zip(shapes[:-1], shapes[1:], blocks[:-1], strict=True):
        assert x[-1] == following[0]
        assert block.run.grade in grade
        if block.end_curve:
            assert grade[-1] == pytest.approx(next_grade[0])


def test_where_the_line_does_not_hold_there_are_runs():
    """Law: a tangent of PVIs that misses the profile by ten metres is not drawn; its place is read in runs."""
    profile = seen_profile()
    between = (profile.chainage > 6000) & (profile.chainage < 12_000)
    moved = np.where(between, 10 * np.sin(np.pi * (profile.chainage - 6000) / 6000), 0.0)
    blocks = blocks_of(frame(dataclasses.replace(profile, elevation=profile.elevation + moved)))
    assert [b.run.start for b in blocks] == PVI_M[:-1].tolist()
    assert blocks[1].run.grade == invented_landmarks().grade_runs[1].grade
    assert [b.end_curve > 0 for b in blocks[:4]] == [False, False, False, True]


def test_blocks_cover_the_line():
    """Law: from the first station to the last without a hole, whatever is seen."""
    for pvis in (seen_profile().pvis, seen_profile().pvis[3:4], seen_profile().pvis[::2]):
        blocks: tuple[Block, ...] = blocks_of(frame(dataclasses.replace(seen_profile(), pvis=pvis)))
        assert blocks[0].run.start == 0
        assert blocks[-1].run.end == PVI_M[-1]
        assert all(a.run.end == b.run.start for a, b in pairwise(blocks))
