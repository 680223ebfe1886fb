"""Everything that is kept of alerts, gathered from its rooms: Django finds it here."""

from alerts.models.alert import Alert, AlertStep
from alerts.models.calls import Call
from alerts.models.heartbeat import Heartbeat
from alerts.models.judgement import RecordJudgement
from alerts.models.limit import Limit
from alerts.models.looked_over import LookedOver
from alerts.models.messages import AlertMessage, PushAddress
from alerts.models.mutes import Mute
from alerts.models.pending import PendingEvaluation
from alerts.models.replays import Replay, ReplayChunk
from alerts.models.rota import Absence, RotaTurn, Routine

__all__ = [
    "Absence",
    "Alert",
    "AlertMessage",
    "AlertStep",
    "Call",
    "Heartbeat",
    "Limit",
    "LookedOver",
    "Mute",
    "PendingEvaluation",
    "PushAddress",
    "RecordJudgement",
    "Replay",
    "ReplayChunk",
    "RotaTurn",
    "Routine",
]
