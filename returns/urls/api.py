"""Addresses of the API. Nouns are plural; an action on one is a noun below it."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path, re_path

from inventory.journal import api as journal
from inventory.ledger import api as movements
from inventory.months import api as months
from inventory.weighing import api as reconciliation
from returns.arriving import api as parcels
from returns.asking import api as asking
from returns.auditing import api as audits
from returns.catalogue import api as catalogue
from returns.counter import api as counter
from returns.figures.circularity import api as circularity
from returns.figures.forecast import api as foresight
from returns.figures.repairability import api as repairs
from returns.filing import api as filing
from returns.furniture.api import describing
from returns.goods import api as goods
from returns.grading import api as frames
from returns.handover import api as handover
from returns.joining import api as joining
from returns.kits import api as kits
from returns.leaving import api as leaving
from returns.mending import api as mending
from returns.moulding.api import batches, cards
from returns.partners import api as partners
from returns.regrind.api import boxes, runs
from returns.salvage import api as salvage
from returns.setup import api as tokens
from returns.spoiling import api as spoiling
from returns.stock import api as stock
from returns.story.api import requests, stories
from returns.tracing import api as tracing

_open: list[URLPattern] = [
    path("models/", catalogue.Models.as_view(), name="api-models"),
    path("models/<str:code>/", catalogue.OneModel.as_view(), name="api-model"),
    path("send-backs/", filing.SendBack.as_view(), name="api-send-backs"),
    path("spare-screws/", filing.SpareScrews.as_view(), name="api-spare-screws"),
    path("story/", stories.OneStory.as_view(), name="api-story"),
    path("story/withdrawals/", stories.Withdraw.as_view(), name="api-story-withdrawals"),
    path("story/addresses/", stories.ChangeAddress.as_view(), name="api-story-addresses"),
    path("story/missing-reports/", stories.ReportMissing.as_view(), name="api-story-missing"),
    path("story/posted-reports/", stories.SayPosted.as_view(), name="api-story-posted"),
    path("story/wakings/", stories.Wake.as_view(), name="api-story-wakings"),
    path("story/emails/", stories.ChangeEmail.as_view(), name="api-story-emails"),
    path("story/answers/", asking.AnswerQuestion.as_view(), name="api-story-answers"),
]

_bench: list[URLPattern] = [
    path("requests/", requests.Requests.as_view(), name="api-requests"),
    path("requests/<str:reference>/", requests.OneRequest.as_view(), name="api-request"),
    path("parcels/", parcels.Parcels.as_view(), name="api-parcels"),
    path("parcels/<str:code>/", parcels.OneParcel.as_view(), name="api-parcel"),
    path("parcels/<str:code>/frames/", parcels.ParcelFrames.as_view(), name="api-parcel-frames"),
    path("parcels/<str:code>/later-parts/", joining.LaterParts.as_view(), name="api-parcel-parts"),
    path("parcels/<str:code>/endings/", parcels.FinishParcel.as_view(), name="api-parcel-endings"),
    path("walk-ins/", counter.WalkIns.as_view(), name="api-walk-ins"),
    path("partner-boxes/", partners.PartnerBoxes.as_view(), name="api-partner-boxes"),
    path("handover-notes/", handover.HandoverNotes.as_view(), name="api-notes"),
    path(
        "handover-notes/<int:number>/endings/",
        handover.NoteEndings.as_view(),
        name="api-note-endings",
    ),
    path("shelf-places/", handover.ShelfPlaces.as_view(), name="api-shelf-places"),
    path("kits/", kits.Kits.as_view(), name="api-kits"),
    path("kits/<str:reference>/dispatches/", kits.KitDispatches.as_view(), name="api-kit-posts"),
    path(
        "kits/<str:reference>/collections/",
        kits.KitCollections.as_view(),
        name="api-kit-collections",
    ),
    path("kits/<str:reference>/returns-to-queue/", kits.PutBack.as_view(), name="api-kit-back"),
    path("kits/<str:reference>/reposts/", kits.Repost.as_view(), name="api-kit-reposts"),
    path("kits/<str:reference>/arrivals/", kits.TurnedUp.as_view(), name="api-kit-arrivals"),
]

_frames: list[URLPattern] = [
    path("frames/", frames.Frames.as_view(), name="api-frames"),
    path("frames/<str:tag>/", frames.OneFrame.as_view(), name="api-frame"),
    path("frames/<str:tag>/gradings/", frames.Gradings.as_view(), name="api-gradings"),
    path("frames/<str:tag>/overrulings/", frames.Overrulings.as_view(), name="api-overrulings"),
    path("frames/<str:tag>/wishes/", frames.Wishes.as_view(), name="api-wishes"),
    path("frames/<str:tag>/questions/", asking.Questions.as_view(), name="api-questions"),
    path(
        "frames/<str:tag>/question-withdrawals/",
        asking.QuestionWithdrawals.as_view(),
        name="api-question-withdrawals",
    ),
    path("frames/<str:tag>/shelf-places/", handover.ShelveFrame.as_view(), name="api-frame-shelf"),
    path("frames/<str:tag>/photos/", handover.BenchPhotos.as_view(), name="api-frame-photos"),
    path(
        "frames/<str:tag>/photos/<str:name>/deletions/",
        handover.PhotoDeletions.as_view(),
        name="api-photo-deletions",
    ),
    path("frames/<str:tag>/voidings/", frames.Voidings.as_view(), name="api-voidings"),
    path("frames/<str:tag>/jobs/", mending.Jobs.as_view(), name="api-jobs"),
    path("frames/<str:tag>/job/additions/", mending.Additions.as_view(), name="api-job-additions"),
    path("frames/<str:tag>/job/removals/", mending.Removals.as_view(), name="api-job-removals"),
    path("frames/<str:tag>/job/steps/", mending.Steps.as_view(), name="api-job-steps"),
    path("frames/<str:tag>/job/checks/", mending.Checks.as_view(), name="api-job-checks"),
    path(
        "frames/<str:tag>/job/check-withdrawals/",
        mending.CheckWithdrawals.as_view(),
        name="api-check-withdrawals",
    ),
    path(
        "frames/<str:tag>/job/step-withdrawals/",
        mending.StepWithdrawals.as_view(),
        name="api-step-withdrawals",
    ),
    path("frames/<str:tag>/job/endings/", mending.GivingUp.as_view(), name="api-job-endings"),
    path("frames/<str:tag>/job/weigh-outs/", mending.WeighOuts.as_view(), name="api-weigh-outs"),
    path("frames/<str:tag>/strip-downs/", leaving.StripDowns.as_view(), name="api-strip-downs"),
    path(
        "frames/<str:tag>/strip-down-reversals/",
        leaving.StripDownReversals.as_view(),
        name="api-strip-down-reversals",
    ),
    path("frames/<str:tag>/discards/", leaving.Discards.as_view(), name="api-discards"),
    path("frames/<str:tag>/dispatches/", leaving.Dispatches.as_view(), name="api-dispatches"),
    path("frames/<str:tag>/lens-dispatches/", leaving.LensDispatches.as_view(), name="api-lenses"),
    path("frames/<str:tag>/collections/", leaving.Collections.as_view(), name="api-collections"),
    path(
        "frames/<str:tag>/lens-collections/",
        leaving.LensCollections.as_view(),
        name="api-lens-collections",
    ),
]

_material: list[URLPattern] = [
    path("salvage/", salvage.Salvage.as_view(), name="api-salvage"),
    path("salvage/promises/", salvage.Promises.as_view(), name="api-salvage-promises"),
    path("salvage/withdrawals/", salvage.Withdrawals.as_view(), name="api-salvage-withdrawals"),
    path("boxes/", boxes.Boxes.as_view(), name="api-boxes"),
    path("boxes/<str:code>/", boxes.OneBox.as_view(), name="api-box"),
    path("boxes/<str:code>/shelf-places/", handover.ShelveBox.as_view(), name="api-box-shelf"),
    path("lots/", boxes.Lots.as_view(), name="api-lots"),
    path("lots/<str:code>/", boxes.OneLot.as_view(), name="api-lot"),
    path("balances/", boxes.Balances.as_view(), name="api-balances"),
    path("runs/", runs.Runs.as_view(), name="api-runs"),
    path("runs/<str:code>/", runs.OneRun.as_view(), name="api-run"),
    path("runs/<str:code>/confirmations/", runs.Confirmations.as_view(), name="api-run-confirm"),
    path("runs/<str:code>/cancellations/", runs.Cancellations.as_view(), name="api-run-cancel"),
    path("runs/<str:code>/weigh-outs/", runs.RunWeighOuts.as_view(), name="api-run-finish"),
    path("runs/<str:code>/explanations/", runs.Explanations.as_view(), name="api-run-explain"),
    path("parts/", stock.Parts.as_view(), name="api-parts"),
    path("parts/<str:code>/", stock.OnePart.as_view(), name="api-part"),
    path("parts/<str:code>/receipts/", stock.Receipts.as_view(), name="api-part-receipts"),
    path("parts/<str:code>/counts/", stock.PartCounts.as_view(), name="api-part-counts"),
    path("feedstock/", stock.Feedstock.as_view(), name="api-feedstock"),
    path("scrap/", stock.Scrap.as_view(), name="api-scrap"),
    path("issues/", stock.Issues.as_view(), name="api-issues"),
    path("places/<str:code>/counts/", stock.MassCounts.as_view(), name="api-place-counts"),
    path("places/<str:code>/disposals/", stock.Disposals.as_view(), name="api-disposals"),
    path("batches/", batches.Batches.as_view(), name="api-batches"),
    path("batches/<str:code>/", batches.OneBatch.as_view(), name="api-batch"),
    path("batches/<str:code>/settings/", batches.BatchSettings.as_view(), name="api-settings"),
    path("batches/<str:code>/spoiled/", spoiling.BatchSpoiled.as_view(), name="api-batch-spoiled"),
    path("batches/<str:code>/scrap/", spoiling.BatchScrap.as_view(), name="api-batch-scrap"),
    path("spoiled/", spoiling.SpoiledPairs.as_view(), name="api-spoiled"),
    path("yields/", spoiling.Yields.as_view(), name="api-yields"),
    path("cards/", cards.Cards.as_view(), name="api-cards"),
    path("cards/<str:code>/", cards.OneCard.as_view(), name="api-card"),
    path("cards/<str:code>/weighings/", cards.CardWeighings.as_view(), name="api-card-weighings"),
    path("cards/<str:code>/drops/", cards.CardDrops.as_view(), name="api-card-drops"),
    path("blends/<str:code>/recipes/", cards.Recipes.as_view(), name="api-recipes"),
    path("goods/", goods.Loads.as_view(), name="api-goods"),
    path("goods/yields/", goods.GoodsYields.as_view(), name="api-goods-yields"),
    path("goods/<str:code>/", goods.OneLoad.as_view(), name="api-load"),
    path("goods/<str:code>/streams/", goods.Streams.as_view(), name="api-load-streams"),
    path("goods/<str:code>/endings/", goods.LoadEndings.as_view(), name="api-load-endings"),
    path("goods/<str:code>/pickings/", goods.Pickings.as_view(), name="api-load-pickings"),
    path("goods/<str:code>/passings/", goods.Passings.as_view(), name="api-load-passings"),
    path("goods/<str:code>/reversals/", goods.LoadReversals.as_view(), name="api-load-reversals"),
]

_books: list[URLPattern] = [
    path("epcis/events/", tracing.Events.as_view(), name="api-epcis-events"),
    path("movements/", movements.Movements.as_view(), name="api-movements"),
    path("movements/<int:number>/", movements.OneMovement.as_view(), name="api-movement"),
    path("movements/<int:number>/reversals/", movements.Reversals.as_view(), name="api-reversals"),
    path("months/", months.Months.as_view(), name="api-months"),
    path("months/<str:label>/", months.OneMonth.as_view(), name="api-month"),
    path("months/<str:label>/report/", months.Report.as_view(), name="api-month-report"),
    path(
        "months/<str:label>/reconciliation/",
        reconciliation.OfMonth.as_view(),
        name="api-month-reconciliation",
    ),
    path("months/<str:label>/balance/", journal.TrialBalance.as_view(), name="api-month-balance"),
    path("books/exports/", journal.Exports.as_view(), name="api-exports"),
    path("books/exports/<int:number>/", journal.OneExport.as_view(), name="api-export"),
    path("months/<str:label>/closings/", months.Close.as_view(), name="api-month-closings"),
]

_owner: list[URLPattern] = [
    path("repairability/", repairs.Profiles.as_view(), name="api-repairability"),
    path("lifetimes/", foresight.Lifetimes.as_view(), name="api-lifetimes"),
    path("forecast/", foresight.Forecast.as_view(), name="api-forecast"),
    path("weigh-audits/", audits.Audits.as_view(), name="api-audits"),
    path("weigh-audits/<int:number>/", audits.OneAudit.as_view(), name="api-audit"),
    path(
        "weigh-audits/<int:number>/results/",
        audits.AuditResults.as_view(),
        name="api-audit-results",
    ),
    path("part-orders/", foresight.PartOrders.as_view(), name="api-part-orders"),
    path("outstanding/", foresight.Outstanding.as_view(), name="api-outstanding"),
    path("claims/", foresight.Claims.as_view(), name="api-claims"),
    path("emissions/", foresight.Emissions.as_view(), name="api-emissions"),
    path("circularity/", circularity.Whole.as_view(), name="api-circularity"),
    path(
        "circularity/models/<str:code>/",
        circularity.OfModel.as_view(),
        name="api-circularity-model",
    ),
    path(
        "circularity/batches/<str:code>/",
        circularity.OfBatch.as_view(),
        name="api-circularity-batch",
    ),
    path("sold-units/trials/", batches.Trials.as_view(), name="api-sold-trials"),
    path("sold-units/imports/", batches.Imports.as_view(), name="api-sold-imports"),
    path("partners/", partners.Partners.as_view(), name="api-partners"),
    path("partners/<int:number>/", partners.OnePartner.as_view(), name="api-partner"),
    path("partners/<int:number>/slips/", partners.PartnerSlips.as_view(), name="api-slips"),
    path("partners/<int:number>/sheets/", partners.Sheets.as_view(), name="api-sheets"),
    path("partners/<int:number>/links/", partners.LinkRenewals.as_view(), name="api-links"),
    path(
        "partners/<int:number>/closings/", partners.PartnerClosings.as_view(), name="api-closings"
    ),
    path("tokens/", tokens.Tokens.as_view(), name="api-tokens"),
    path("tokens/<str:handle>/revocations/", tokens.Revocations.as_view(), name="api-revocations"),
]

_itself: list[URLPattern] = [
    path("schema/", describing.Description.as_view(), name="api-schema"),
    path("docs/", describing.Docs.as_view(), name="api-docs"),
    path("problems/", describing.Problems.as_view(), name="api-problems"),
    re_path(r"^.*$", describing.Unknown.as_view(), name="api-unknown"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    *_open,
    *_bench,
    *_frames,
    *_material,
    *_books,
    *_owner,
    *_itself,
]
