"""What one shift leaves to the next: shelf places, hand-over notes, photos taken at the bench."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.parsers import MultiPartParser

from inventory.furniture.api import filters
from inventory.furniture.api.parsing import BoundedJSON
from inventory.furniture.api.shapes import Body, Code, Moment, Scanned, found
from inventory.furniture.api.views import ActionView, Face, Listing
from inventory.models import Place, PlaceKind
from returns.filing.rules import photos
from returns.furniture.api.lookups import FrameTag, frame_at
from returns.handover import queries
from returns.handover.rules import notes, shelving, taking
from returns.models import BenchPhoto, HandoverNote, ReturnedFrame, ShelfPlace


class ShelfFilter(filters.FilterSet):
    shelf = filters.CharFilter(field_name="shelf", max_length=20)


class ShelfAnswer(serializers.Serializer[ShelfPlace]):
    of = serializers.CharField(source="subject", help_text="The tag of a frame, or a box's code.")
    shelf = serializers.CharField()
    set_at = Moment()


class ShelfPlaces(Listing):
    """List where things stand: every frame that waits and every box whose shelf somebody said."""

    scope = "bench"
    serializer_class = ShelfAnswer
    filterset_class = ShelfFilter
    queryset = queries.placed().order_by("shelf", "subject")


class ShelveBody(Body):
    shelf = Scanned(
        allow_blank=True, help_text="Its code, or its label as scanned; empty for on no shelf."
    )


class ShelvedAnswer(serializers.Serializer[Any]):
    of = serializers.CharField()
    shelf = serializers.CharField(help_text="Empty when it is on no shelf.")


class Shelve(ActionView, Face):
    """What both kinds of things share."""

    scope = "bench"
    body_class = ShelveBody
    made_class = ShelvedAnswer
    made_status = 200

    def thing(self) -> ReturnedFrame | Place:
        raise NotImplementedError

    def perform(self, data: dict[str, Any]) -> dict[str, str]:
        thing = self.thing()
        shelf = shelving.put(key=self.action_key, thing=thing, at=self.at, by=self.by, **data)
        return {"of": thing.tag if isinstance(thing, ReturnedFrame) else thing.code, "shelf": shelf}


class ShelveFrame(Shelve):
    """Say on which shelf a frame stands.

    Answers `bad-input` for what is no shelf's code or the code of something else.
    """

    def thing(self) -> ReturnedFrame:
        return frame_at(self.kwargs["tag"])


class ShelveBox(Shelve):
    """Say on which shelf a box stands.

    Answers `bad-input` for what is no shelf's code or the code of something else.
    """

    def thing(self) -> Place:
        box: Place = found(Place.objects.filter(kind=PlaceKind.BOX), code=self.kwargs["code"])
        return box


class NoteFilter(filters.FilterSet):
    is_open = filters.BooleanFilter(field_name="done_at", lookup_expr="isnull")
    frame = filters.CharFilter(field_name="frame__tag", max_length=20)


class NoteAnswer(serializers.Serializer[HandoverNote]):
    number = serializers.IntegerField(source="pk")
    text = serializers.CharField()
    frame = Code(by="tag", allow_null=True)
    written_at = Moment()
    done_at = Moment(allow_null=True)


class NoteBody(Body):
    text = serializers.CharField(
        max_length=notes.NOTE_LENGTH_MAX, help_text="Name no customer in it."
    )
    frame = FrameTag(
        required=False, allow_null=True, help_text="The tag of its frame; null for all."
    )


class HandoverNotes(ActionView, Listing):
    """GET lists the notes, newest first; POST leaves one for a frame, or for all.

    It shows on the bench's page of today until it is done. Answers `bad-input` for an empty one.
    """

    scope = "bench"
    serializer_class = NoteAnswer
    filterset_class = NoteFilter
    queryset = queries.all_notes()
    body_class = NoteBody
    made_class = NoteAnswer

    def perform(self, data: dict[str, Any]) -> HandoverNote:
        frame = data.get("frame")
        return notes.write(
            key=self.action_key, text=data["text"], frame=frame, at=self.at, by=self.by
        )


class NoteEndings(ActionView):
    """Say that a note is done; it is kept. One that is done already stays as it is.

    Answers `not-found` for another number.
    """

    scope = "bench"
    made_class = NoteAnswer
    made_status = 200

    def perform(self, _data: dict[str, Any]) -> HandoverNote:
        note = found(HandoverNote.objects.all(), pk=str(self.kwargs["number"]))
        return notes.tick(key=self.action_key, note=note, at=self.at, by=self.by)


class BenchPhotoAnswer(serializers.Serializer[BenchPhoto]):
    file_name = serializers.CharField()
    component = serializers.CharField(help_text="Empty for the whole frame.")
    defect = serializers.CharField(help_text="Empty where it shows no single trouble.")
    width = serializers.IntegerField(help_text="In pixels.")
    height = serializers.IntegerField(help_text="In pixels.")
    taken_at = Moment()


class TakenAnswer(serializers.Serializer[Any]):
    photos = BenchPhotoAnswer(many=True)


class TakeBody(Body):
    photos = serializers.ListField(
        child=serializers.FileField(), min_length=1, max_length=taking.PHOTOS_MAX
    )
    component = serializers.CharField(max_length=20, allow_blank=True, default="")
    defect = serializers.CharField(max_length=20, allow_blank=True, default="")


class BenchPhotos(ActionView, Listing):
    """GET lists the photos that the bench took of a frame; POST keeps more, as multipart/form-data.

    Only the picture is kept: not where and when it was taken. The pictures themselves are shown to
    people who have signed in, at the frame's page, and to no program: they go when the customer's
    own photos go. POST answers `bad-input` for what is no photo, for too many, and for what no
    frame has, `stale-state` once the frame has left.
    """

    scope = "bench"
    parser_classes = [BoundedJSON, MultiPartParser]
    serializer_class = BenchPhotoAnswer
    body_class = TakeBody
    made_class = TakenAnswer

    def get_queryset(self) -> Any:
        # The description of the API asks without a tag.
        if "tag" not in self.kwargs:
            return BenchPhoto.objects.none()
        return frame_at(self.kwargs["tag"]).bench_photos.order_by("pk")

    def perform(self, data: dict[str, Any]) -> dict[str, Any]:
        frame = frame_at(self.kwargs["tag"])
        pictures = [photos.redraw(one, size_bytes=one.size) for one in data["photos"]]
        part, defect = data["component"], data["defect"]
        kept = taking.take(
            key=self.action_key,
            frame=frame,
            pictures=pictures,
            shows=f"{part}|{defect}" if part or defect else "",
            at=self.at,
            by=self.by,
        )
        return {"photos": kept}


class PhotoDeletions(ActionView):
    """Delete a photo of the bench, say of the wrong frame; that it was there stays on record.

    Answers `not-found` for a photo that is not of this frame, or is deleted already.
    """

    scope = "bench"
    made_class = TakenAnswer
    made_status = 200

    def perform(self, _data: dict[str, Any]) -> dict[str, Any]:
        frame = frame_at(self.kwargs["tag"])
        photo = found(frame.bench_photos.select_related("frame"), file_name=self.kwargs["name"])
        taking.delete(key=self.action_key, photo=photo, at=self.at, by=self.by)
        return {"photos": frame.bench_photos.order_by("pk")}
