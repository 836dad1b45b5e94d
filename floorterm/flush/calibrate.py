"""Calibration of a line from check samples, in one place: fit, bounds, tail, pooling, proposal.

The steps live in modules of their own: `samples` (reading), `fit` (least squares), `bounds` (how far to be
sure), `tail` (few readings), `pool` (many changeovers), `proposal` (new figures for a line file).
"""

from floorterm.flush.bounds import (
    ContentBound,
    UpperBound,
    cautious_line,
    content_bound,
    interval,
    sampling_plan,
    upper_bound,
)
from floorterm.flush.calibration_errors import (
    CalibrationError,
    NotFallingError,
    NotIdentifiableError,
    SampleError,
)
from floorterm.flush.fit import Fit, FittedReading, fit, whole_tanks
from floorterm.flush.pool import PastHoldup, PooledHoldup, pool
from floorterm.flush.proposal import FlushChange, Proposal, ProposedValue, propose_figures
from floorterm.flush.samples import Sample, Samples, read_samples, samples
from floorterm.flush.tail import Tail, tail

__all__ = [
    "CalibrationError",
    "ContentBound",
    "Fit",
    "FittedReading",
    "FlushChange",
    "NotFallingError",
    "NotIdentifiableError",
    "PastHoldup",
    "PooledHoldup",
    "Proposal",
    "ProposedValue",
    "Sample",
    "SampleError",
    "Samples",
    "Tail",
    "UpperBound",
    "cautious_line",
    "content_bound",
    "fit",
    "interval",
    "pool",
    "propose_figures",
    "read_samples",
    "samples",
    "sampling_plan",
    "tail",
    "upper_bound",
    "whole_tanks",
]
