"""The turning player of a case's page: frames of the solved curve, their pictures, and the view the page fills in."""

from contactfe.report.player.events import Event, events_of
from contactfe.report.player.frames import Frame, Stage, stage_of
from contactfe.report.player.view import PlayerView, player_view

__all__ = ["Event", "Frame", "PlayerView", "Stage", "events_of", "player_view", "stage_of"]
