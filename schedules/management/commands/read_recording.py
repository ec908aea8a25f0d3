"""Count a recording: ``manage.py read_recording FILE --asset TAG --column C --unit mpa --covers 40 --as USER``."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.files.base import File
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from assets_app.people.models import Person
from assets_app.refusals import Refused
from assets_app.register.models import Asset
from engineering.figures import grouped
from schedules.duty.recordings import actions, running, words
from schedules.duty.recordings.counting import Wanted
from schedules.duty.recordings.models import Recording


class Command(BaseCommand):
    help = "Keep a recording of strain or stress (CSV or Parquet), screen it and count it by rainflow."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--asset", required=True, help="tag of the asset")
        parser.add_argument("--site", default="", help="slug of the site, where two sites use the same tag")
        parser.add_argument("--column", default="", help="empty: the only column of numbers beside the time")
        parser.add_argument("--unit", required=True, choices=Recording.Unit.values)
        parser.add_argument("--covers", type=float, required=True, help="counts of the asset's counter that it covers")
        parser.add_argument("--as", dest="person", required=True, help="user name of who answers for it")
        parser.add_argument("--modulus", type=float, default=210_000.0, help="MPa, for strain")
        parser.add_argument("--cleaning", choices=Recording.Cleaning.values, default="spikes")
        parser.add_argument("--spike-limit", type=float, help="MPa; without it, worked out from the recording")
        parser.add_argument("--bin-width", type=float, default=1.0, help="MPa")
        parser.add_argument("--residue", choices=Recording.Residue.values, default="closed")
        parser.add_argument("--note", default="", help="which gauge, where, on which day")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            started = self._start(options)
        except Person.DoesNotExist as error:
            raise CommandError(f"There is nobody with the user name {options['person']!r}.") from error
        except OSError as error:
            raise CommandError(f"The file cannot be read: {error.strerror}.") from error
        except Refused as refused:
            raise CommandError(refused.message) from refused
        ended = running.run_recording(recording_id=started.pk, now=timezone.now(), progress=self._progress)
        if ended.state != Recording.State.DONE:
            raise CommandError(ended.error.get("message", f"It is {ended.get_state_display()}."))
        for line in (*ended.reading_notes, *ended.screening["words"], *words.summary(ended.histogram)):
            self.stdout.write(line)
        self.stdout.write("range, MPa; times in one count")
        for size, count in words.spectrum_of(ended.histogram):
            self.stdout.write(f"{size:g}; {count:g}")
        self.stdout.write(f"Kept as recording {ended.pk}: {grouped(ended.samples)} samples.")

    def _start(self, options: dict[str, Any]) -> Recording:
        with options["file"].open("rb") as file:
            return actions.start_recording(
                asset_id=self._asset(options).pk,
                file=File(file, name=options["file"].name),
                column=options["column"],
                note=options["note"],
                wanted=Wanted(
                    unit=options["unit"],
                    operating_cycles=options["covers"],
                    youngs_modulus_mpa=options["modulus"],
                    cleaning=options["cleaning"],
                    spike_limit_mpa=options["spike_limit"],
                    bin_width_mpa=options["bin_width"],
                    residue=options["residue"],
                ),
                actor=Person.objects.get(username=options["person"]),
                now=timezone.now(),
                hand_over=False,
            )

    def _asset(self, options: dict[str, Any]) -> Asset:
        found = Asset.objects.filter(tag=options["asset"])
        if options["site"]:
            found = found.filter(site__slug=options["site"])
        assets = list(found[:2])
        if len(assets) != 1:
            what = "No asset has" if not assets else "More than one asset has; give --site for"
            raise CommandError(f"{what} the tag {options['asset']!r}.")
        return assets[0]

    def _progress(self, recording: Recording) -> None:
        self.stdout.write(f"{grouped(recording.rows_done)} of about {grouped(recording.rows_total)} samples counted")
