"""Celery: hands ids to workers. The queue is the database; a lost message costs seconds.

Started by ``manage.py up``, or by hand: ``celery -A fleet worker``, ``celery -A fleet beat``.
"""

from __future__ import annotations

import os
import signal
from typing import Any

from celery import Celery, signals

from fleet import ahead, broker, embedded
from fleet.embedded.children import die_with_parent, end_with_keeper

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

TASK_LIMIT_S = 60
SWEEP_EVERY_S = 5.0
# So that unread ones do not pile up; servers' clocks may differ by so much.
NEWS_EVERY_S = 60.0
MESSAGES_EVERY_S = 10.0
UNREAD_EXPIRES_S = 300.0
# Longer than any task may take, or a running one would be handed out twice. The shortest value
# of any program on the broker wins, so it is set in all three places Celery reads.
VISIBILITY_TIMEOUT_S = 120
# Of one process. A message takes a millisecond, so threads wait for each other rather than each
# keep sockets open for good.
RINGING_CONNECTIONS = 2


def configuration() -> dict[str, Any]:
    """Return the settings; read on first use, when the data folder is known."""
    return {
        "broker_url": embedded.broker_url(),
        "broker_connection_retry_on_startup": True,
        "broker_connection_max_retries": None,
        "broker_connection_timeout": broker.CONNECT_S,
        "broker_pool_limit": RINGING_CONNECTIONS,
        "broker_transport_options": {
            "visibility_timeout": VISIBILITY_TIMEOUT_S,
            # kombu looks for messages of dead workers each interval x throttle; 100 s by default
            "unacked_restore_interval": 2,
            "unacked_restore_throttle": 1,
            **broker.PATIENCE,
        },
        "result_backend_transport_options": {"visibility_timeout": VISIBILITY_TIMEOUT_S},
        "visibility_timeout": VISIBILITY_TIMEOUT_S,
        "result_backend": None,
        "task_ignore_result": True,
        "task_acks_late": True,
        "task_reject_on_worker_lost": False,  # a poison upload would come back for ever
        "task_publish_retry": False,  # the sweeper rings again; a web request must not wait
        "task_time_limit": TASK_LIMIT_S,
        "task_soft_time_limit": TASK_LIMIT_S - 10,
        "task_default_queue": "millrace",
        "worker_prefetch_multiplier": 1,
        "worker_max_tasks_per_child": 500,
        "worker_max_memory_per_child": 600_000,  # KiB
        "worker_soft_shutdown_timeout": 10.0,
        "worker_cancel_long_running_tasks_on_connection_loss": False,
        "worker_hijack_root_logger": False,
        "worker_send_task_events": False,
        "timezone": "UTC",
        "enable_utc": True,
        "beat_scheduler": "fleet.scheduler.Scheduler",
        "beat_schedule": {
            "sweep": {
                "task": "fleet.tasks.sweep",
                "schedule": SWEEP_EVERY_S,
                "options": {"expires": UNREAD_EXPIRES_S},
            },
            "look_for_news": {
                "task": "fleet.tasks.look_for_news",
                "schedule": NEWS_EVERY_S,
                "options": {"expires": UNREAD_EXPIRES_S},
            },
            "send_messages": {
                "task": "fleet.tasks.send_messages",
                "schedule": MESSAGES_EVERY_S,
                "options": {"expires": UNREAD_EXPIRES_S},
            },
        },
    }


app = Celery("millrace")
app.add_defaults(configuration)
app.autodiscover_tasks(["fleet"])


@signals.worker_init.connect
@signals.beat_init.connect
def start_private_servers(**_: Any) -> None:
    """A worker or scheduler meets the broker before it opens a database connection."""
    end_with_keeper()
    embedded.ensure()


@signals.worker_init.connect
def load_ahead(**_: Any) -> None:
    """Load once what all pool processes need."""
    ahead.load()


@signals.worker_process_init.connect
def end_with_the_worker(**_: Any) -> None:
    """Do not let a pool process outlive a killed worker and go on with its task."""
    die_with_parent(signal.SIGKILL)
