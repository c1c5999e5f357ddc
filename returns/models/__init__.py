"""Tables of the people-and-frames room."""

from __future__ import annotations

from returns.models.arrivals import FrameHeap, LaterPart, Parcel, ReturnedFrame
from returns.models.audits import AuditedFrame, WeighAudit
from returns.models.catalogue import (
    BatchMaterial,
    Colourway,
    Component,
    DifferingComponent,
    FrameModel,
    ProductionBatch,
    RepairScores,
    SoldUnits,
)
from returns.models.counter import WalkIn
from returns.models.emission_factors import EmissionFactors
from returns.models.filing import DraftPhoto, FurtherFrame, Photo, Request, Trouble
from returns.models.goods import Evidence, Giver
from returns.models.gradings import Finding, Grading
from returns.models.handover import BenchPhoto, HandoverNote, ShelfPlace
from returns.models.mending import BenchCheck, JobStep, RepairJob
from returns.models.partners import Partner, PartnerSlip
from returns.models.people import Person
from returns.models.posting_out import Dispatch
from returns.models.promises import PartPromise
from returns.models.questions import Question, QuestionPhoto
from returns.models.remedies import Policy, Remedy, RemedyPart
from returns.models.terms import Terms

__all__ = [
    "AuditedFrame",
    "BatchMaterial",
    "BenchCheck",
    "BenchPhoto",
    "Colourway",
    "Component",
    "DifferingComponent",
    "Dispatch",
    "DraftPhoto",
    "EmissionFactors",
    "Evidence",
    "Finding",
    "FrameHeap",
    "FrameModel",
    "FurtherFrame",
    "Giver",
    "Grading",
    "HandoverNote",
    "JobStep",
    "LaterPart",
    "Parcel",
    "PartPromise",
    "Partner",
    "PartnerSlip",
    "Person",
    "Photo",
    "Policy",
    "ProductionBatch",
    "Question",
    "QuestionPhoto",
    "Remedy",
    "RemedyPart",
    "RepairJob",
    "RepairScores",
    "Request",
    "ReturnedFrame",
    "ShelfPlace",
    "SoldUnits",
    "Terms",
    "Trouble",
    "WalkIn",
    "WeighAudit",
]
